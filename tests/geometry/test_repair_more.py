"""Meshes that were refused although nothing about them is in doubt; and what is named first."""

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import to_manifold
from glowsim.geometry.notes import Doubt
from glowsim.geometry.repair import repaired
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Rod
from tests.support.meshes import ball, blocks_of, joined, without

BALL = ball()
LAYER = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0)]


def repair(mesh):
    body, notes = repaired(
        np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64), "thing"
    )
    to_manifold(body, "thing")
    return body, notes


def test_an_edge_of_four_faces_within_one_piece_is_parted():
    # Two blocks meet along an edge only, over a layer that joins them.
    body, notes = repair(blocks_of([*LAYER, (0, 0, 1), (1, 1, 1)]))
    assert_allclose(body.volume_mm3, 6 * 125, rtol=1e-9)
    assert notes == [
        "thing: parted 1 edges that joined more than two faces, about (5.0, 5.0, 7.5) mm"
    ]


@given(st.sets(st.tuples(*[st.integers(0, 3)] * 3), min_size=1, max_size=30))
@example({*LAYER, (0, 0, 1), (1, 1, 1), (0, 0, 2), (1, 0, 2), (0, 1, 2), (1, 1, 2)})
@settings(max_examples=60, deadline=None)
def test_blocks_on_a_grid_keep_their_volume(cells):
    body, notes = repair(blocks_of(sorted(cells)))
    # Every one is a solid: none is rebuilt on a coarse grid, none is refused.
    assert not any("rebuilt" in note for note in notes)
    assert_allclose(body.volume_mm3, 125 * len(cells), rtol=1e-9)


def test_a_scrap_that_cannot_be_closed_is_dropped_and_its_place_told():
    octant = (ball(1).triangles_center > 0).all(axis=1)
    scrap = without(ball(1, at=(0, 0, 0)), ~octant)
    scrap.apply_translation((20, 0, 0))
    body, notes = repair(joined(BALL, scrap))
    assert_allclose(body.volume_mm3, BALL.volume, rtol=1e-9)
    assert notes == [
        "thing: dropped a loose scrap about (20.5, 0.5, 0.5) mm, which cannot be closed"
    ]


def test_the_largest_hole_is_named_first():
    way = BALL.triangles_center / np.linalg.norm(BALL.triangles_center, axis=1)[:, None]
    small = (way * [1, -1, 1] > 0.35).all(axis=1)
    octant = (way > 0).all(axis=1)
    with pytest.raises(GeometryError, match=r"has a hole 10\.0 mm wide about \(4\.3, 4\.3, 4\.3\)"):
        repair(without(BALL, octant | small))


def test_several_flat_holes_are_told_from_the_largest_on():
    rod = Rod(kind="rod", length_mm=30, diameter_mm=20, top_diameter_mm=12)
    frustum = shape_mesh(rod)
    side = frustum.faces[frustum.part == 1]
    open_below = trimesh.Trimesh(frustum.vertices, side, process=False)
    _, notes = repair(open_below)
    widths = [float(note.split("hole ")[1].split(" mm")[0]) for note in notes]
    assert len(widths) == 2
    assert widths == sorted(widths, reverse=True)


def test_two_tetrahedra_on_one_inner_face_are_one_body():
    turn = 2 * np.pi * np.arange(3) / 3
    foot = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    corners = 10 * np.vstack([foot, [[0, 0, 1], [0, 0, -1]]])
    sides = [[3, 0, 1], [3, 1, 2], [3, 2, 0], [4, 1, 0], [4, 2, 1], [4, 0, 2]]
    inner = [[2, 1, 0], [2, 1, 0]]  # that of both, both times turned as the upper one has it
    body, _ = repair(trimesh.Trimesh(corners, sides + inner, process=False))
    assert_allclose(body.volume_mm3, 2 * 1000 * (3 * np.sqrt(3) / 4) / 3, rtol=1e-9)


def test_a_corner_on_an_edge_that_one_face_lacks_leaves_a_slit_not_a_doubt():
    cube = trimesh.creation.box((10, 10, 10))
    first, second, third = cube.faces[0]
    middle = len(cube.vertices)
    corners = np.vstack([cube.vertices, (cube.vertices[first] + cube.vertices[second]) / 2])
    halves = [[first, middle, third], [middle, second, third]]
    body, notes = repair(trimesh.Trimesh(corners, [*cube.faces[1:], *halves], process=False))
    assert_allclose(body.volume_mm3, 1000, rtol=1e-9)
    (note,) = notes
    assert note.startswith("thing: closed a slit 1")
    assert not isinstance(note, Doubt)
