"""Whatever an export or a scan does to a closed mesh: a closed body of its volume, or one message.

The bodies and the damage are our own (`tests/support/damage.py`); the volume to come back to is
that of the mesh before, by the boolean library.
"""

from functools import cache

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import from_manifold, to_manifold
from glowsim.geometry.notes import Doubt
from glowsim.geometry.repair import repaired
from glowsim.geometry.strays import without_strays
from tests.support import damage
from tests.support.meshes import ball, joined, mesh_of, turned

OFF = 0.02
"""Volume that a mended body may be off."""


@cache
def body(name):
    """A closed body of some thousand faces, 100 mm across."""
    if name == "ball":
        return ball(50, 4)
    if name == "ring":
        return trimesh.creation.torus(38, 12, major_sections=80, minor_sections=28)
    if name == "hollow ball":
        return joined(ball(50, 4), turned(ball(42, 3)))
    if name == "blob":
        mesh = ball(1, 4)
        way = np.random.default_rng(0).normal(size=(12, 3))
        way /= np.linalg.norm(way, axis=1, keepdims=True)
        mesh.vertices *= (
            45 * (1 + 0.15 * np.exp(6 * (mesh.vertices @ way.T - 1)).sum(axis=1))[:, None]
        )
        return mesh
    outer, inner = (to_manifold(mesh_of(ball(r, 4)), name) for r in (50, 46))
    bowl = from_manifold(outer.trim_by_plane((0, 0, -1), -15) - inner)
    return trimesh.Trimesh(bowl.vertices, bowl.faces, process=False)


BODIES = ("ball", "ring", "hollow ball", "blob", "bowl")


def mended(mesh):
    """Return what becomes of a mesh and all that is said."""
    with np.errstate(invalid="ignore"):
        clean, strays = without_strays(mesh_of(mesh), "thing")
        made, notes = repaired(clean.vertices, clean.faces, "thing")
    return made, [*strays, *notes]


def try_mending(name, damages, seed):
    """Damage a body; return its share of volume once mended and the notes, or None and the one
    message."""
    mesh, rng = body(name), np.random.default_rng(seed)
    whole = to_manifold(mesh_of(mesh), name).volume()
    for harm in damages:
        mesh = harm(mesh, rng)
    try:
        made, notes = mended(mesh)
    except GeometryError as fault:
        return None, [str(fault)]
    return to_manifold(made, "thing").volume() / whole, notes


def told(share, notes, silent):
    """Check that a body is right and said to be mended, or that one message says why not."""
    assert all(note.startswith("thing: ") and "\n" not in note for note in notes)
    if share is None:
        return
    assert_allclose(share, 1, rtol=OFF)
    assert notes or silent


@pytest.mark.parametrize(
    ("name", "harm", "said"),
    [
        ("ball", damage.pinched, "edges that joined more than two faces, about ("),
        ("blob", damage.finned, "dropped 7 loose specks or sheets of surface"),
        ("ring", damage.nowhere, "of which a corner is no number, about ("),
        ("bowl", damage.flung, "of which a corner lies far from all the others, about ("),
        ("hollow ball", damage.partly_turned, "turned faces that pointed the wrong way"),
        ("blob", damage.with_t_junctions, "closed a slit"),
    ],
)
def test_damage_is_mended_and_said(name, harm, said):
    share, notes = try_mending(name, [harm], 3)
    assert share is not None, notes
    assert_allclose(share, 1, rtol=OFF)
    assert any(said in note for note in notes), notes


def test_a_hollow_with_some_faces_turned_stays_a_hollow():
    """Which way most of its faces lie decides."""
    inner = ball(42, 3)
    some = np.flatnonzero(np.random.default_rng(2).random(len(inner.faces)) < 0.2)
    made, notes = mended(joined(ball(50, 3), turned(turned(inner), some)))
    assert "thing: kept 1 hollow(s) inside" in notes
    assert_allclose(made.volume_mm3, ball(50, 3).volume - inner.volume, rtol=1e-9)


def test_a_piece_inside_out_beside_others_is_asked_about():
    _, notes = mended(joined(ball(50, 3), turned(ball(20, 3, at=(60, 0, 0)))))
    assert any("was inside out, and others were not: it is taken as solid" in n for n in notes)


@pytest.mark.parametrize("lower_mm", [0.0, 2.0])
def test_a_cup_without_its_rim_stays_open(lower_mm):
    """Its two skins end level, or the inner one a little lower: no sealed hollow, no solid."""
    frustum = manifold3d.Manifold.cylinder
    outer = frustum(90, 30, 40, 96)
    hollow = frustum(87, 27, 37, 96).translate((0, 0, 3))
    skins = [from_manifold(outer), from_manifold(hollow.trim_by_plane((0, 0, -1), lower_mm - 90))]
    tops = [np.isclose(mesh.triangles[:, :, 2], mesh.bounds[1, 2]).all(axis=1) for mesh in skins]
    parts = [
        trimesh.Trimesh(mesh.vertices, mesh.faces[~top], process=False)
        for mesh, top in zip(skins, tops, strict=True)
    ]
    made, notes = mended(joined(parts[0], turned(parts[1])))
    cup = outer - hollow
    assert_allclose(made.volume_mm3, cup.volume(), rtol=0.01)
    assert to_manifold(made, "cup").genus() == 0  # one skin, open above
    assert len(to_manifold(made, "cup").decompose()) == 1
    (doubt,) = [note for note in notes if isinstance(note, Doubt)]
    assert (
        "the rim between its outer and its inner skin was missing about (0.0, 0.0, 90.0)" in doubt
    )


@given(
    st.sampled_from(BODIES),
    st.lists(st.sampled_from(damage.DAMAGES), min_size=1, max_size=3, unique=True),
    st.integers(0, 10_000),
)
@settings(max_examples=5, deadline=None)
def test_damage_at_random(name, damages, seed):
    told(*try_mending(name, damages, seed), silent=set(damages) <= {damage.unwelded})


@pytest.mark.slow
def test_the_corpus_of_damaged_bodies():
    """Every body with every damage: none wrong, all but a few mended (all 50 when written)."""
    refused = []
    for seed, name in enumerate(BODIES):
        for harm in damage.DAMAGES:
            share, notes = try_mending(name, [harm], seed)
            told(share, notes, silent=harm is damage.unwelded)
            if share is None:
                refused.append((name, harm.__name__, *notes))
    assert len(refused) <= 2, refused
