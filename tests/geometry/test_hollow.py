"""Hollow shells: the inner surface lies one wall below the outer one."""

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pydantic import TypeAdapter

from glowsim.errors import GeometryError
from glowsim.geometry.hollow import depth_mm, hollow_mesh, nearest_on
from glowsim.geometry.mesh import Mesh, from_manifold, to_manifold
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.tapered import tapered_hollow
from glowsim.scene import Shape
from tests.support.meshes import ball, mesh_of


def shape(kind, **sizes):
    return shape_mesh(TypeAdapter(Shape).validate_python({"kind": kind} | sizes))


ORB = shape("orb", diameter_mm=60)
SPIKE = shape("spike", length_mm=120, base_diameter_mm=40, tip_radius_mm=2)
BENT = shape("spike", length_mm=120, base_diameter_mm=40, tip_radius_mm=0.3, bend_mm=40)
SLAB = shape("slab", length_mm=200, width_mm=100, thickness_mm=30)
PANEL = shape("slab", length_mm=600, width_mm=600, thickness_mm=6)
BLADE = shape("blade", length_mm=300, width_mm=60, thickness_mm=12)
CRYSTAL = shape("crystal", length_mm=100, width_mm=40, base_point_mm=15)
RING = shape("ring", diameter_mm=150, section_diameter_mm=30)
DOME = shape("dome", diameter_mm=100, height_mm=40)
GLOBE = shape("orb", diameter_mm=1500)


def corner_block():
    """Two crossed blocks: flat sides, sharp edges, and edges that look inward."""
    one = to_manifold(shape("slab", length_mm=100, width_mm=40, thickness_mm=40), "one")
    two = to_manifold(shape("slab", length_mm=40, width_mm=100, thickness_mm=60), "two")
    return from_manifold(one + two)


def sampled(mesh, count=8000):
    """Points spread evenly over a surface."""
    rng = np.random.default_rng(3)
    face = rng.choice(len(mesh.faces), count, p=mesh.areas_mm2 / mesh.areas_mm2.sum())
    weights = rng.dirichlet((1, 1, 1), count)
    return np.einsum("nk,nkd->nd", weights, mesh.triangles[face])


def wall_errors(outer, inner, wall_mm):
    """How much too thick the wall is, as a share of it, over the inner surface."""
    return depth_mm(outer, sampled(inner)) / wall_mm - 1


@pytest.mark.parametrize(
    ("outer", "wall_mm", "most"),
    [
        # Corners moved below the planes of their faces: as flat as the outer faces are.
        (ORB, 1.0, 0.01),
        (ORB, 5.0, 0.01),
        (GLOBE, 2.0, 0.01),
        (SPIKE, 1.2, 0.01),
        (SLAB, 2.0, 0.001),
        (PANEL, 2.0, 0.001),
        (CRYSTAL, 2.0, 0.001),
        (RING, 1.5, 0.02),
        (DOME, 1.0, 0.01),
    ],
    ids=["orb", "orb 5", "globe", "spike", "slab", "panel", "crystal", "ring", "dome"],
)
def test_the_wall_is_as_thick_as_asked(outer, wall_mm, most):
    inner, notes = hollow_mesh(outer, wall_mm, "shell")
    assert notes == []
    to_manifold(inner, "inner")
    assert inner.volume_mm3 > 0
    assert np.abs(wall_errors(outer, inner, wall_mm)).max() < most


@pytest.mark.parametrize(
    ("outer", "wall_mm"),
    [(BLADE, 2.0), (BENT, 2.0), (BLADE, 0.8), (corner_block(), 4.0)],
    ids=["blade", "bent spike", "thin blade", "crossed blocks"],
)
def test_the_wall_where_edges_and_tips_close_up(outer, wall_mm):
    inner, _ = hollow_mesh(outer, wall_mm, "shell")
    errors = wall_errors(outer, inner, wall_mm)
    # Drawn through a grid: near thin edges a cell is as wide as the hollow.
    assert np.sqrt((errors**2).mean()) < 0.03
    assert np.percentile(np.abs(errors), 99) < 0.1
    assert errors.min() > -0.2
    beyond = to_manifold(inner, "inner") - to_manifold(outer, "outer")
    assert beyond.volume() < 1e-6 * outer.volume_mm3


def test_a_ball_in_a_ball():
    inner, _ = hollow_mesh(ORB, 3.0, "shell")
    # 20 480 flat faces keep the volume to 0.1 %, swollen as the outer one is.
    assert_allclose(inner.volume_mm3, 4 / 3 * np.pi * 27**3, rtol=2e-3)


def test_a_block_in_a_block_keeps_its_edges():
    inner, _ = hollow_mesh(SLAB, 4.0, "shell")
    assert_allclose(inner.size_mm, [192, 92, 22], rtol=1e-9)
    assert_allclose(inner.volume_mm3, 192 * 92 * 22, rtol=1e-9)
    assert len(inner.faces) == 12


def test_edges_that_look_inward_are_mitred_or_rounded():
    block = corner_block()
    inner, _ = hollow_mesh(block, 4.0, "shell")
    mitred = 92 * 32 * 32 + 32 * 92 * 52 - 32 * 32 * 32
    # A round edge leaves (1 - pi/4) w^2 more hollow along four edges of 40 mm and two of 40 mm.
    rounded = mitred + (1 - np.pi / 4) * 4.0**2 * 240
    assert mitred * 0.999 < inner.volume_mm3 < rounded * 1.001


def test_where_the_wall_closes_up_is_said():
    _, notes = hollow_mesh(shape("crystal", length_mm=100, width_mm=14), 3.0, "shard")
    assert len(notes) == 1
    assert notes[0].startswith("shard: the wall closes up about (0.0, 0.0, 100.0) mm: ")
    assert notes[0].endswith(" mm of solid material there in place of 3 mm")
    deep = float(notes[0].split("mm: ")[1].split()[0])
    # The point's sides slope 6.06 to 33.3: 3 mm off them lie 3/sin(10.3 deg) below the tip.
    assert_allclose(deep, 16.8, rtol=0.02)


def test_a_needle_is_hollow_as_far_as_the_wall_allows():
    needle = shape("spike", length_mm=120, base_diameter_mm=40, tip_radius_mm=0.3)
    inner, notes = hollow_mesh(needle, 3.0, "needle")
    # Half the cone's angle is atan(20/120): the hollow's tip lies 3/sin(9.5 deg) below the cone's,
    # but for the last bit that is narrower than a grid cell.
    assert_allclose(120 - inner.bounds[1, 2], 3 / np.sin(np.arctan(20 / 120)), rtol=0.2)
    assert_allclose(inner.bounds[0, 2], 3.0, rtol=0.01)
    assert "the wall closes up about (0.0, 0.0, 120.0) mm" in notes[0].replace("-0.0", "0.0")


def test_two_hollows_in_a_dumb_bell():
    rod = to_manifold(shape("rod", length_mm=80, diameter_mm=6), "rod")
    ends = [to_manifold(mesh_of(ball(15, 3, at=(0, 0, z))), "end") for z in (0, 80)]
    bell = from_manifold(rod + ends[0] + ends[1])
    inner, notes = hollow_mesh(bell, 4.0, "bell")
    parts = to_manifold(inner, "inner").decompose()
    assert len(parts) == 2
    # Balls of 11 mm, a little less where the rod comes in.
    assert_allclose([part.volume() for part in parts], 4 / 3 * np.pi * 11**3, rtol=0.03)
    assert len(notes) == 1
    assert notes[0].startswith("bell: the wall closes up about (")
    assert ", 40.0) mm: " in notes[0]  # the rod is thinner than two walls


def ball_in_spike_mm(length_mm, base_radius_mm, tip_radius_mm):
    """Radius of the ball that touches foot and side; the side, b cos a = x cos a + z sin a, runs
    through the rim of the foot and touches the ball of the tip."""
    rise = length_mm - tip_radius_mm
    lean = np.arccos(tip_radius_mm / np.hypot(base_radius_mm, rise)) - np.arctan2(
        rise, base_radius_mm
    )
    return base_radius_mm * np.cos(lean) / (1 + np.sin(lean))


# The largest balls that fit: half a diameter, half a thickness, and the spike's.
@pytest.mark.parametrize(
    ("outer", "wall_mm", "deepest_mm"),
    [
        *((ORB, 31.0, 30), (ORB, 100.0, 30), (PANEL, 3.5, 3), (PANEL, 40.0, 3)),
        (SPIKE, 20.0, ball_in_spike_mm(120, 20, 2)),
        (RING, 50.0, 15),
    ],
    ids=["orb", "orb, far", "panel", "panel, far", "spike", "ring"],
)
def test_too_thick_a_wall_is_refused(outer, wall_mm, deepest_mm):
    with pytest.raises(GeometryError) as refused:
        hollow_mesh(outer, wall_mm, "shell")
    said = re.fullmatch(
        rf"shell: a wall of {wall_mm:g} mm leaves no hollow; the deepest place in the body lies "
        r"([\d.]+) mm below its surface\. Give a wall_mm of less than that, or leave it out for a "
        "solid",
        str(refused.value),
    )
    assert said
    assert float(said[1]) == pytest.approx(deepest_mm, rel=0.006)
    assert float(said[1]) <= 1.001 * deepest_mm


def test_a_panel_just_thicker_than_two_walls():
    inner, _ = hollow_mesh(PANEL, 2.9, "panel")
    assert_allclose(inner.size_mm, [594.2, 594.2, 0.2], rtol=1e-6)


def test_depth_is_signed():
    points = np.array([[0, 0, 0], [0, 0, 25], [0, 0, 40], [29, 0, 0]], float)
    assert_allclose(depth_mm(ORB, points), [30, 5, -10, 1], atol=0.06)  # chords: 0.05 mm
    assert depth_mm(ORB, np.zeros((0, 3))).shape == (0,)


def test_depth_far_from_the_origin():
    away = np.array([2e6, -1e6, 5e5])
    moved = Mesh.single_part(ORB.vertices + away, ORB.faces)
    points = np.array([[0, 0, 25], [0, 0, 29.9], [0, 0, 30.1]], float)
    assert_allclose(depth_mm(moved, points + away), depth_mm(ORB, points), atol=1e-6)


def test_nearest():
    distance, place, face = nearest_on(SLAB, np.array([[10.0, 0.0, 35.0]]))
    assert_allclose(distance, [5], rtol=1e-12)  # straight down onto a flat side
    assert_allclose(place, [[10, 0, 30]], atol=1e-12)
    assert_allclose(SLAB.normals[face], [[0, 0, 1]], atol=1e-12)


def test_a_wall_that_tapers_with_height():
    # In a long rod, a place at radius r lies radius - r deep: the hollow is a cone there.
    outer = shape("rod", diameter_mm=60, length_mm=200)
    low, high = outer.bounds[:, 2]
    points = [(low + 50, 6.0), (low + 150, 3.0)]
    hollow = tapered_hollow(outer, points, "rod")
    assert hollow.volume_mm3 > 0
    middle = hollow.centroids[np.abs(hollow.centroids[:, 2] - low - 100) < 40]
    radius = np.linalg.norm(middle[:, :2], axis=1)
    wanted = 30 - np.interp(middle[:, 2], *np.transpose(points))
    assert_allclose(radius, wanted, atol=0.15)  # sides of the rod, chords of the hollow
    assert hollow.bounds[0, 2] == pytest.approx(low + 6, abs=0.05)
    assert hollow.bounds[1, 2] == pytest.approx(high - 3, abs=0.05)
    with pytest.raises(GeometryError, match="leaves no hollow"):
        tapered_hollow(outer, [(low, 40.0), (high, 35.0)], "rod")
