"""Where copies stand."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.geometry.patterns import copies_of, placed
from glowsim.scene import parse_scene
from tests.support.scenes import ORB

EXACT = {"atol": 1e-9}  # sines and cosines of doubles


def copies(*patterns, extra=""):
    text = ORB + extra + "".join(f"[[bodies.patterns]]\n{pattern}\n" for pattern in patterns)
    return copies_of(parse_scene(text).scene.bodies[0])


def at(transform, point=(0, 0, 0)):
    return transform[:3, :3] @ np.asarray(point, float) + transform[:3, 3]


def test_a_body_without_patterns_stands_once():
    (only,) = copies(extra="position_mm = [1, 2, 3]\nrotation_deg = [0, 0, 90]\n")
    assert_allclose(at(only), [1, 2, 3], **EXACT)
    assert_allclose(at(only, (1, 0, 0)), [1, 3, 3], **EXACT)


def test_turns_are_about_x_then_y_then_z():
    turn = placed((0, 0, 0), (90, 90, 0))
    # About x: y goes to z. Then about y: z goes to x.
    assert_allclose(at(turn, (0, 1, 0)), [1, 0, 0], **EXACT)
    assert_allclose(at(placed((5, 0, 0), (0, 0, 180)), (1, 0, 0)), [4, 0, 0], **EXACT)


def test_around_a_whole_circle():
    row = copies('kind = "around"\ncount = 4\nradius_mm = 50\ntilt_deg = 90')
    places = np.array([at(copy) for copy in row])
    assert_allclose(places, [[50, 0, 0], [0, 50, 0], [-50, 0, 0], [0, -50, 0]], **EXACT)
    # A copy's own +z looks outward.
    assert_allclose([at(copy, (0, 0, 1)) for copy in row], places * 51 / 50, **EXACT)


@pytest.mark.parametrize("tilt", [0, 30, 60, 120])
def test_around_tilted(tilt):
    (copy, *_) = copies(
        f'kind = "around"\ncount = 3\nradius_mm = 40\ntilt_deg = {tilt}\ncentre_mm = [1, 2, 3]'
    )
    angle = np.radians(tilt)
    expected = np.array([1, 2, 3]) + 40 * np.array([np.sin(angle), 0, np.cos(angle)])
    assert_allclose(at(copy), expected, **EXACT)


def test_part_of_a_circle_has_copies_at_both_ends():
    row = copies(
        'kind = "around"\ncount = 3\nradius_mm = 10\ntilt_deg = 90\nstart_deg = 90\nspan_deg = 180'
    )
    assert_allclose([at(copy) for copy in row], [[0, 10, 0], [-10, 0, 0], [0, -10, 0]], **EXACT)
    (single,) = copies('kind = "around"\ncount = 1\nradius_mm = 10\ntilt_deg = 90\nspan_deg = 180')
    assert_allclose(at(single), [10, 0, 0], **EXACT)


def test_around_carries_the_bodys_own_place_along():
    row = copies('kind = "around"\ncount = 2\ntilt_deg = 90', extra="position_mm = [0, 0, 45]\n")
    assert_allclose([at(copy) for copy in row], [[45, 0, 0], [-45, 0, 0]], **EXACT)


def test_along_a_line():
    row = copies('kind = "along"\ncount = 3\nstep_mm = [0, 10, 1]')
    assert_allclose([at(copy) for copy in row], [[0, 0, 0], [0, 10, 1], [0, 20, 2]], **EXACT)


def test_along_with_a_turn_walks_a_polygon():
    row = copies('kind = "along"\ncount = 5\nstep_mm = [10, 0, 0]\nturn_deg = [0, 0, 90]')
    square = [[0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0], [0, 0, 0]]
    assert_allclose([at(copy) for copy in row], square, **EXACT)


def test_places_one_by_one():
    row = copies(
        'kind = "places"\nplaces = [{ position_mm = [1, 0, 0] }, '
        "{ position_mm = [0, 5, 0], rotation_deg = [180, 0, 0] }]"
    )
    assert_allclose([at(copy, (0, 0, 1)) for copy in row], [[1, 0, 1], [0, 5, -1]], **EXACT)


def test_patterns_add_up():
    row = copies('kind = "around"\ncount = 3', 'kind = "along"\ncount = 2\nstep_mm = [0, 0, 9]')
    assert len(row) == 5
    assert all(abs(np.linalg.det(copy[:3, :3]) - 1) < 1e-9 for copy in row)  # no mirror images
