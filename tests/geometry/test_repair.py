"""Meshes as people have them: what is mended, what is said, what is refused."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import Mesh, from_manifold, to_manifold
from glowsim.geometry.rays import inside_spans
from glowsim.geometry.repair import repaired
from glowsim.geometry.simplify import MOST_FACES, simplified
from tests.support.faults import fault_of
from tests.support.meshes import (
    ball,
    block,
    crossing_tube,
    joined,
    mesh_of,
    torn_apart,
    turned,
    without,
)

BALL = ball()
VOLUME = BALL.volume
RNG = np.random.default_rng(1)


def repair(mesh, keep="all"):
    body, notes = repaired(
        np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64), "thing", keep
    )
    to_manifold(body, "thing")  # raises unless it is closed
    assert all(note.startswith("thing: ") for note in notes)
    return body, notes


def cut_ball(level):
    """A ball without what lies above a level, open there."""
    solid = to_manifold(mesh_of(BALL), "ball").trim_by_plane((0, 0, -1), -level)
    mesh = from_manifold(solid)
    lid = mesh.normals[:, 2] > 0.999
    return trimesh.Trimesh(mesh.vertices, mesh.faces[~lid], process=False), mesh.volume_mm3


NOT_JOINED = '2 of its pieces are not joined to each other; if one is meant, say keep = "largest"'
ASKED = ". Is it closed? If this is a skin without thickness, wall_mm makes it a shell"
SAFE = {
    "a sound ball": (BALL, VOLUME, []),
    "inside out": (turned(BALL), VOLUME, ["was inside out; turned it"]),
    "some faces turned": (
        turned(BALL, RNG.choice(1280, 300, replace=False)),
        VOLUME,
        ["turned faces that pointed the wrong way"],
    ),
    "repeated faces": (
        trimesh.Trimesh(BALL.vertices, np.vstack([BALL.faces, BALL.faces[:50]]), process=False),
        VOLUME,
        ["dropped 50 repeated faces"],
    ),
    "repeated faces, turned": (
        trimesh.Trimesh(
            BALL.vertices, np.vstack([BALL.faces, BALL.faces[:50, ::-1]]), process=False
        ),
        VOLUME,
        ["dropped 50 repeated faces"],
    ),
    "the whole body twice": (joined(BALL, BALL), VOLUME, ["dropped 1280 repeated faces"]),
    "unwelded": (torn_apart(BALL), VOLUME, []),
    "nearly welded": (torn_apart(BALL, 1e-6), VOLUME, []),
    "faces without area": (
        trimesh.Trimesh(
            BALL.vertices, np.vstack([BALL.faces, [[0, 0, 1], [2, 2, 2]]]), process=False
        ),
        VOLUME,
        ["dropped 2 faces without area"],
    ),
    "one face gone": (
        without(BALL, [5]),
        VOLUME,
        ["closed a flat hole 1.3 mm wide about (-7.6, 5.7, 3.1) mm"],
    ),
    "a corner's faces gone": (
        without(BALL, np.nonzero((BALL.faces == 10).any(axis=1))[0]),
        VOLUME,
        ["closed a flat hole 2.6 mm wide about (-8.4, 0.0, -5.2) mm"],
    ),
    "a tube without ends": (
        without(
            tube := trimesh.creation.cylinder(radius=10, height=30, sections=48),
            np.abs(tube.face_normals[:, 2]) > 0.9,
        ),
        tube.volume,
        [
            f"closed a flat hole 20.0 mm wide about (0.0, 0.0, -15.0) mm{ASKED}",
            f"closed a flat hole 20.0 mm wide about (0.0, 0.0, 15.0) mm{ASKED}",
        ],
    ),
    "two blocks, one through the other": (
        joined(block(), block(at=(10, 5, 3))),
        2 * 8000 - 10 * 15 * 17,
        ["united 2 pieces into one body"],
    ),
    "a hollow": (
        joined(BALL, turned(ball(5))),
        VOLUME * (1 - 1 / 8),
        ["kept 1 hollow(s) inside"],
    ),
    "a hollow, all inside out": (
        joined(turned(BALL), ball(5)),
        VOLUME * (1 - 1 / 8),
        ["was inside out; turned it", "kept 1 hollow(s) inside"],
    ),
    "a ball within a ball, both outward": (
        joined(BALL, ball(5)),
        VOLUME,
        [
            "an inner surface of 10 x 10 x 10 mm about (0.0, 0.0, 0.0) mm faces the same way as "
            "the outer one: it is taken as solid material. If a hollow is meant, turn its faces in "
            "the modelling program",
            "united 2 pieces into one body",
        ],
    ),
    "a ball in the hollow of a ball": (
        joined(ball(20), turned(ball(15)), BALL, turned(ball(5))),
        VOLUME * (8 - 27 / 8 + 1 - 1 / 8),
        ["united 2 pieces into one body", "kept 2 hollow(s) inside", NOT_JOINED],
    ),
    "two apart": (
        joined(BALL, ball(4, at=(30, 0, 0))),
        VOLUME * (1 + 0.4**3),
        ["united 2 pieces into one body", NOT_JOINED],
    ),
    "specks of dust": (
        joined(BALL, *[ball(0.01, 1, at=RNG.normal(size=3) * 20) for _ in range(5)]),
        VOLUME,
        ["dropped 5 loose specks or sheets of surface"],
    ),
    "two blocks that touch along an edge": (
        joined(block(), block(at=(20, 20, 0)), welded=True),
        16000,
        ["united 2 pieces into one body", NOT_JOINED],
    ),
    "two blocks that touch at a corner": (
        joined(block(), block(at=(20, 20, 20)), welded=True),
        16000,
        ["united 2 pieces into one body", NOT_JOINED],
    ),
    "a fin that stands off": (
        joined(
            block(),
            trimesh.Trimesh([[-10, -10, 10], [10, -10, 10], [0, -10, 25]], [[0, 1, 2]]),
            welded=True,
        ),
        8000,
        ["dropped 1 loose specks or sheets of surface"],
    ),
    "a fin of many faces": (
        joined(
            block().subdivide().subdivide(),
            trimesh.Trimesh(
                [[-10, -10, 10], [10, -10, 10], [10, -20, 25], [-10, -20, 25]],
                [[0, 1, 2], [0, 2, 3]],
            )
            .subdivide()
            .subdivide(),
            welded=True,
        ),
        8000,
        ["dropped 1 loose specks or sheets of surface"],
    ),
    "far from the origin": (ball(at=(1e5, -1e5, 1e5)), VOLUME, []),
    "as small as dust": (ball(1e-3), VOLUME * 1e-12, []),
}


@pytest.mark.parametrize(("mesh", "volume", "said"), SAFE.values(), ids=SAFE)
def test_what_is_mended(mesh, volume, said):
    body, notes = repair(mesh)
    # Covers of holes are flat where the ball was round; all else is exact.
    assert_allclose(body.volume_mm3, volume, rtol=1e-4)
    assert [note.removeprefix("thing: ") for note in notes] == said


def test_a_wall_within_two_welded_blocks():
    body, notes = repair(joined(block(), block(at=(20, 0, 0)), welded=True))
    assert_allclose(body.volume_mm3, 16000, rtol=1e-9)  # flat faces: exact
    assert "thing: united 2 pieces into one body" in notes


def test_a_large_flat_hole_is_covered():
    mesh, volume = cut_ball(2.0)
    body, notes = repair(mesh)
    assert_allclose(body.volume_mm3, volume, rtol=1e-9)
    assert notes == [f"thing: closed a flat hole 19.5 mm wide about (0.0, 0.0, 2.0) mm{ASKED}"]


def test_many_holes_are_told_in_short():
    body, notes = repair(without(BALL, RNG.choice(1280, 60, replace=False)))
    assert_allclose(body.volume_mm3, VOLUME, rtol=2e-3)  # flat covers over a round body
    assert len(notes) == 4
    assert "more holes like these" in notes[3]


def test_a_crooked_hole_is_refused_with_its_place():
    octant = (BALL.triangles_center > 0).all(axis=1)
    with pytest.raises(
        GeometryError,
        match=r"thing: has a hole 10\.0 mm wide about \(4\.3, 4\.3, 4\.3\) mm that is too large "
        "and too crooked to close; close it in the modelling program",
    ):
        repair(without(BALL, octant))


def test_an_open_box_of_two_sides_is_refused():
    with pytest.raises(GeometryError, match="too large and too crooked"):
        repair(without(block(), [0, 1]))


def test_a_sheet_is_no_body():
    square = trimesh.Trimesh([[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]], [[0, 1, 2], [0, 2, 3]])
    with pytest.raises(GeometryError, match="has no thickness; a surface must enclose a body"):
        repair(square.subdivide())


def test_nothing_is_no_body():
    with pytest.raises(GeometryError, match="has no body; only 0 faces have an area"):
        repair(without(BALL, np.arange(1280)))


def test_one_face_is_no_body():
    with pytest.raises(GeometryError, match="has no body; only 1 faces have an area"):
        repair(trimesh.Trimesh([[0, 0, 0], [9, 0, 0], [9, 9, 0]], [[0, 1, 2]]))


def test_triangles_at_random_are_refused():
    soup = trimesh.Trimesh(RNG.normal(size=(120, 3)) * 10, np.arange(120).reshape(-1, 3))
    with pytest.raises(GeometryError, match="falls apart into 40 loose scraps"):
        repair(soup)


def test_half_a_surface_is_refused():
    # Every second face gone: the winding number is about one half all through.
    with pytest.raises(GeometryError, match="has no thickness"):
        repair(without(BALL, np.arange(0, 1280, 2)))


def test_a_torn_ball_is_rebuilt():
    body, notes = repair(torn_apart(BALL, 1e-3))
    assert_allclose(body.volume_mm3, VOLUME, rtol=5e-3)  # simplified within a tenth of a step
    assert any("rebuilt the whole surface from inside and outside" in note for note in notes)
    distance = np.linalg.norm(body.vertices, axis=1) - 10
    assert np.abs(distance).max() < 0.1  # a ball of flat triangles: 0.06 mm off the round one


def test_a_tube_through_itself_counts_once():
    tube = crossing_tube()
    body, notes = repair(tube)
    assert any("its surface runs through itself about " in note for note in notes)
    whole = mesh_of(tube)
    lines = np.linspace(-40, 40, 801)
    x, y = (a.ravel() for a in np.meshgrid(lines, lines))
    _, low, high = inside_spans(whole, x, y)
    once = (high - low).sum() * 0.1**2  # counted along lines: overlapping parts once
    assert once < 0.99 * whole.volume_mm3
    assert_allclose(body.volume_mm3, once, rtol=5e-3)  # grid of 0.7 mm, surface set onto the old


def test_the_largest_piece_keeps_its_hollow():
    scene = joined(BALL, turned(ball(5)), ball(4, at=(30, 0, 0)))
    body, notes = repair(scene, keep="largest")
    assert_allclose(body.volume_mm3, VOLUME * 7 / 8, rtol=1e-9)
    assert "thing: kept the largest of the separate pieces" in notes


@pytest.mark.parametrize("share", [0.005, 0.02, 0.05])
@pytest.mark.parametrize("seed", [0, 1])
def test_faces_removed_at_random(share, seed):
    rng = np.random.default_rng(seed)
    body, _ = repair(without(BALL, rng.choice(1280, int(share * 1280), replace=False)))
    assert_allclose(body.volume_mm3, VOLUME, rtol=3e-3)  # flat covers over a round body


@given(st.integers(0, 10_000))
@settings(max_examples=8, deadline=None)
def test_whatever_is_done_to_a_block_it_is_mended_or_refused(seed):
    rng = np.random.default_rng(seed)
    mesh = joined(block().subdivide(), ball(8, 2, at=rng.normal(size=3) * 12))
    mesh = turned(mesh, rng.random(len(mesh.faces)) < rng.choice([0, 0.2]))
    mesh = without(mesh, rng.random(len(mesh.faces)) < rng.choice([0, 0.03, 0.3]))
    mesh.vertices += rng.normal(size=mesh.vertices.shape) * rng.choice([0, 1e-7, 0.3])
    if rng.random() < 0.5:
        mesh = torn_apart(mesh)
    fault = fault_of(repair, mesh)
    assert fault is None or fault.startswith("thing: ")


def test_fine_meshes_are_simplified_within_bounds():
    fine = mesh_of(ball(75, 6))
    body, notes = simplified(fine, "thing")
    assert len(fine.faces) == 81_920
    assert len(body.faces) <= MOST_FACES
    # The surface shifts by a thousandth of the size at most.
    assert np.abs(np.linalg.norm(body.vertices, axis=1) - 75).max() < 0.15
    assert_allclose(body.volume_mm3, fine.volume_mm3, rtol=3e-3)
    assert notes[0].startswith(f"thing: 81920 faces simplified to {len(body.faces)}, within 0.")
    same, nothing = simplified(body, "thing")
    assert same is body
    assert nothing == []


def test_a_mesh_knows_its_measures():
    mesh = mesh_of(block((2, 3, 4)))
    assert_allclose(mesh.volume_mm3, 24, rtol=1e-12)  # whole numbers
    assert_allclose(mesh.areas_mm2.sum(), 52, rtol=1e-12)
    assert_allclose(mesh.size_mm, [2, 3, 4], rtol=1e-12)
    assert_allclose(np.linalg.norm(mesh.normals, axis=1), 1, rtol=1e-12)
    flat = Mesh.single_part(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    assert_allclose(flat.normals, 0, atol=0)


def test_an_open_surface_is_no_solid():
    with pytest.raises(GeometryError, match="lid: its surface is not closed"):
        to_manifold(mesh_of(without(block(), [0])), "lid")
