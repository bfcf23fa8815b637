"""Boards in the hollow of a shell, as drafts have them: what they hide and what they throw back."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.mesh import Mesh
from glowsim.geometry.rays import RayTarget
from glowsim.optics.emission import MATT
from glowsim.transport.problem import OpaqueBoard
from glowsim.transport.quick.standing import standing, stopped

RADIUS = 30.0


def frame(place, tilt_deg=0.0):
    turned = trimesh.transformations.rotation_matrix(np.radians(tilt_deg), (1, 0, 0))
    turned[:3, 3] = place
    return turned


def ring(place=(0, 0, 0), tilt_deg=0.0):
    return BoardShape(frame(place, tilt_deg), (20.0, 20.0), 2.0, is_round=True, bore_mm=8.0)


def in_a_ball(shape, reflectance, index=MATT):
    """Return a board in a hollow ball whose faces are its patches, and their areas."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=RADIUS)
    walls = Mesh.single_part(ball.vertices, ball.faces)
    cavity = SimpleNamespace(patch=np.arange(len(walls.faces)), area=walls.areas_mm2)
    board = OpaqueBoard("ring", shape, np.full(3, reflectance), np.full(3, reflectance))
    faces = np.full(len(walls.faces), index)
    return standing(board, walls, RayTarget(walls.triangles), cavity, faces), walls


@pytest.mark.parametrize("tilt_deg", [0.0, 50.0])
def test_a_white_board_in_even_light_gives_back_what_it_hides(tilt_deg):
    """Light in balance does not see a body that takes none of it (Kirchhoff)."""
    board, walls = in_a_ball(ring((4, 0, -9), tilt_deg), 1.0)
    even = np.ones((len(walls.faces), 2))
    change = board.change(even, np.zeros((2, 2)), walls.areas_mm2, 1)
    np.testing.assert_allclose(change, 0.0, atol=1e-12)


def test_a_black_board_takes_what_falls_on_its_two_sides():
    board, walls = in_a_ball(ring((4, 0, -9)), 0.0)
    area = np.pi * (10**2 - 4**2)
    assert board.area_mm2 == pytest.approx(area)
    change = board.change(np.ones((len(walls.faces), 1)), np.zeros((2, 1)), walls.areas_mm2, 0)
    assert change.max() <= 0
    assert walls.areas_mm2 @ change[:, 0] == pytest.approx(-2 * area)


def test_what_falls_on_a_side_goes_back_to_the_patches_ahead_of_it():
    board, walls = in_a_ball(ring(), 0.5)
    dark = np.zeros((len(walls.faces), 1))
    back = board.change(dark, np.array([[3.0], [0.0]]), walls.areas_mm2, 2)[:, 0]
    assert walls.areas_mm2 @ back == pytest.approx(1.5)
    assert back[walls.centroids[:, 2] < -2].max() == 0
    # A patch straight ahead at a distance R gets the share A / (pi R^2) of it per board's area.
    top = walls.centroids[:, 2] > 0.95 * RADIUS
    share = np.average(back[top], weights=walls.areas_mm2[top])
    assert share == pytest.approx(1.5 / (np.pi * RADIUS**2), rel=0.12)


def test_a_board_stands_in_the_way_but_for_its_bore_and_beside_it():
    start = np.array([[0.0, 0.0, -10.0], [7.0, 0.0, -10.0]])
    end = np.array([[0.0, 0.0, 10.0], [7.0, 0.0, 10.0], [25.0, 0.0, 10.0], [7.0, 0.0, -4.0]])
    found = stopped(ring(), start, end)
    # The middle of the ring, z = -1, is met 45 % of the way.
    assert found.tolist() == [[False] * 4, [False, True, False, False]]
