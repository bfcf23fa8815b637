"""Inside or outside, near faces and far from the origin."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.geometry.body import region_of
from glowsim.geometry.inside import inside_closed, winding_number
from glowsim.geometry.mesh import Mesh
from tests.support.meshes import ball, block, joined, mesh_of, turned

BALL = mesh_of(ball(10, 4))
RNG = np.random.default_rng(5)


@pytest.mark.parametrize("away", [0.0, 1e5])
def test_points_in_and_around_a_ball(away):
    mesh = Mesh.single_part(BALL.vertices + away, BALL.faces)
    points = RNG.uniform(-12, 12, (5000, 3))
    radius = np.linalg.norm(points, axis=1)
    clear = np.abs(radius - 9.99) > 0.02  # between the chords and the ball nothing is said
    inside = inside_closed(mesh, points + away)
    assert np.array_equal(inside[clear], radius[clear] < 9.99)
    winding = winding_number(mesh.vertices, mesh.faces, points + away)
    assert np.array_equal(winding[clear] > 0.5, radius[clear] < 9.99)


@pytest.mark.parametrize("side", [-1, 1])
def test_points_just_off_the_faces(side):
    face = RNG.integers(0, len(BALL.faces), 5000)
    place = np.einsum("nk,nkd->nd", RNG.dirichlet((1, 1, 1), 5000), BALL.triangles[face])
    inside = inside_closed(BALL, place + side * 2e-3 * BALL.normals[face])
    assert inside.all() if side < 0 else not inside.any()


def test_a_hollow_is_outside():
    shell = mesh_of(joined(ball(10), turned(ball(5))))
    inside = inside_closed(shell, np.array([[0, 0, 0], [0, 0, 7], [0, 0, 12]], float))
    assert inside.tolist() == [False, True, False]


def test_no_points():
    assert inside_closed(BALL, np.zeros((0, 3))).shape == (0,)
    assert winding_number(BALL.vertices, BALL.faces, np.zeros((0, 3))).shape == (0,)


def test_the_winding_number_of_a_half_open_box():
    cube = mesh_of(block())
    whole = winding_number(cube.vertices, cube.faces, np.zeros((1, 3)))
    lidless = winding_number(cube.vertices, cube.faces[cube.normals[:, 2] < 0.5], np.zeros((1, 3)))
    # Each side of a cube takes up a sixth of the directions seen from its middle.
    assert_allclose([whole[0], lidless[0]], [1, 5 / 6], atol=1e-3)  # the library's own error


def test_regions_of_points():
    left, right = mesh_of(block((10, 10, 10))), mesh_of(block((10, 10, 10), (10, 0, 0)))
    points = np.array([[0, 0, 0], [10, 1, 1], [0, 0, 20], [5, 1, 1]], float)
    found = region_of(points, (left, None, right))
    assert found[:3].tolist() == [0, 2, -1]
    assert found[3] in (0, 2)  # on the wall between them: in one of the two, never outside
