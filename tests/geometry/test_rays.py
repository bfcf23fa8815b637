"""Rays against triangles."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.rays import RayTarget, inside_spans
from tests.support.meshes import ball, block, joined, mesh_of

CUBE = mesh_of(block((20, 20, 20)))
UP = np.array([[0.0, 0.0, 1.0]])


def test_a_ray_hits_from_outside_and_from_inside():
    target = RayTarget(CUBE.triangles)
    origins = np.array([[1, 2, -30], [1, 2, 0], [1, 2, 30], [30, 0, 0]], float)
    hits = target.first_hits(origins, np.repeat(UP, 4, axis=0))
    assert_allclose(hits.distance_mm, [20, 10, np.inf, np.inf], rtol=1e-6)  # single precision
    assert (hits.face >= 0).tolist() == [True, True, False, False]
    assert_allclose(hits.point[:2], [[1, 2, -10], [1, 2, 10]], atol=1e-5)
    assert CUBE.normals[hits.face[0]] @ UP[0] < 0 < CUBE.normals[hits.face[1]] @ UP[0]


def test_no_rays():
    hits = RayTarget(CUBE.triangles).first_hits(np.zeros((0, 3)), np.zeros((0, 3)))
    assert hits.face.shape == (0,)
    assert hits.point.shape == (0, 3)


def test_far_from_the_origin_rays_are_as_exact():
    away = np.array([1e6, -2e6, 3e5])
    target = RayTarget(CUBE.triangles + away)
    hits = target.first_hits(np.array([[1.0, 2.0, -30.0]]) + away, UP)
    assert_allclose(hits.distance_mm, [20], rtol=1e-6)
    assert_allclose(hits.point - away, [[1, 2, -10]], atol=1e-5)


def test_what_stands_in_the_way():
    target = RayTarget(CUBE.triangles)
    start = np.array([[0, 0, -30], [0, 0, -30], [15, 0, -30], [1, 1, -5], [0, 0, -30]], float)
    end = np.array([[0, 0, 30], [0, 0, -20], [15, 0, 30], [2, 3, 5], [0, 0, -10]], float)
    # The last one ends on the face itself, which does not count.
    assert target.blocked(start, end).tolist() == [True, False, False, False, False]


def test_spans_through_a_ball():
    globe = mesh_of(ball(10, 5))
    x = np.linspace(-12, 12, 49)
    line, low, high = inside_spans(globe, x, np.full(49, 0.37))
    inside = np.hypot(x, 0.37) < 9.98
    assert np.array_equal(np.unique(line), np.nonzero(inside)[0])
    half = np.sqrt(100 - x[line] ** 2 - 0.37**2)
    # Chords of the 20 480 faces lie up to 0.004 mm within the ball; steeper at the rim.
    assert_allclose(high, half, atol=0.03)
    assert_allclose(low, -half, atol=0.03)


def test_spans_of_several_pieces_on_one_line():
    pieces = mesh_of(joined(block((4, 4, 2), (0, 0, 1)), block((4, 4, 3), (0, 0, 10.5))))
    line, low, high = inside_spans(pieces, np.array([0.3, 5.0]), np.array([0.4, 0.0]))
    assert line.tolist() == [0, 0]
    assert_allclose(low, [0, 9], atol=1e-5)
    assert_allclose(high, [2, 12], atol=1e-5)


def test_overlapping_pieces_count_once():
    pieces = mesh_of(joined(block((4, 4, 4)), block((4, 4, 4), (0, 0, 2))))
    _, low, high = inside_spans(pieces, np.array([0.3]), np.array([0.4]))
    assert_allclose([low[0], high[0]], [-2, 4], atol=1e-5)


def test_lines_through_edges_and_corners_lose_little():
    # The middles of a block's faces are crossed by diagonals, its rim by edges.
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-10, 10, 41), np.linspace(-10, 10, 41)))
    _, low, high = inside_spans(CUBE, x, y)
    assert len(low) > 0.9 * 39 * 39
    assert_allclose(high - low, 20, atol=1e-4)


@pytest.mark.parametrize("z", [5e5, -2e6])
def test_spans_far_from_the_origin(z):
    moved = Mesh.single_part(CUBE.vertices + np.array([0, 0, z]), CUBE.faces)
    _, low, high = inside_spans(moved, np.array([0.3]), np.array([0.4]))
    assert_allclose([low[0] - z, high[0] - z], [-10, 10], atol=1e-4)


def test_numbered_corners_are_met_like_loose_triangles():
    globe = mesh_of(ball(20.0))
    ways = np.random.default_rng(3).normal(size=(200, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    start = np.full((200, 3), 2.0)
    one = RayTarget(globe.triangles).first_hits(start, ways)
    other = RayTarget.of(globe).first_hits(start, ways)
    assert (one.face == other.face).all()
    assert_allclose(other.point, one.point, atol=1e-5)
