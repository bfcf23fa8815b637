"""Boards that do not fit are found, with the place and by how much; boards that fit are not."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.scene import parse_scene
from glowsim.transport.build import body_problem
from glowsim.transport.fit import fits, misfits
from glowsim.transport.plan import plan_of


def problem_of(text, *lights, board="rgb_5050_18ma"):
    blocks = "".join(f'[[bodies.lights]]\nboard = "{board}"\n{light}\n' for light in lights)
    return body_problem(plan_of(parse_scene(f'[[bodies]]\nname = "it"\n{text}\n{blocks}')), 0)


BLOCK = """shape = { kind = "slab", length_mm = 60, width_mm = 40, thickness_mm = 40 }
material = "upholstery_foam_white"
"""
DOWEL = """[[bodies.inserts]]
kind = "core"
coat = "wood_dowel"
shape = { kind = "rod", length_mm = 36, diameter_mm = 6 }
position_mm = [0, 0, 2]
"""
POCKET = """[[bodies.inserts]]
kind = "pocket"
shape = { kind = "rod", length_mm = 20, diameter_mm = 24 }
position_mm = [0, 0, 10]
"""


def test_boards_with_room_are_let_be():
    problem = problem_of(BLOCK, "position_mm = [-15, 0, 20]", "position_mm = [15, 0, 20]")
    assert misfits(problem) == ()
    assert fits(problem)
    assert problem.notes == ()


@pytest.mark.parametrize("x", [25.0, 27.0, 29.0])
def test_disc_that_sticks_out_of_the_side(x):
    """A 10 mm disc about x in a block that ends at x = 30."""
    problem = problem_of(BLOCK, f"position_mm = [{x}, 0, 20]")
    if x == 25.0:
        assert fits(problem)
        return
    (found,) = misfits(problem)
    assert found.blocks
    assert found.by_mm == pytest.approx(x + 5 - 30, abs=0.02)
    assert found.place_mm[:2] == pytest.approx([x + 5, 0], abs=0.6)
    assert "sticks" in found.what
    assert any("does not fit" in note for note in problem.notes)


def test_wide_strip_in_a_thin_sheet():
    """Half a millimetre of sheet on edge, a 12 mm strip across: 5.75 mm out on either side."""
    sheet = """shape = { kind = "slab", length_mm = 80, width_mm = 0.5, thickness_mm = 60 }
material = "pla_white"
"""
    problem = problem_of(
        sheet, "position_mm = [0, 0, 10]\nalong = [1, 0, 0]\nled_count = 5", board="strip_144"
    )
    (found,) = misfits(problem)
    assert found.blocks
    assert found.by_mm == pytest.approx(5.75, abs=0.01)
    assert abs(found.place_mm[1]) == pytest.approx(6.0, abs=0.01)


def test_board_that_runs_into_a_dowel():
    """A 10 mm disc facing +x, its back 2.8 mm behind: the dowel reaches to x = 3."""
    problem = problem_of(BLOCK + DOWEL, "position_mm = [4, 0, 20]\ndirection = [1, 0, 0]")
    found = [misfit for misfit in misfits(problem) if misfit.blocks]
    assert len(found) == 1
    assert found[0].by_mm == pytest.approx(3 - (4 - 2.8), abs=0.02)
    assert found[0].place_mm == pytest.approx([(3 + 1.2) / 2, 0, 20], abs=0.05)
    assert "wood_dowel" in found[0].what


def test_two_boards_that_overlap():
    """Discs of 10 mm whose middles are 8 mm apart, on one level: 2 mm of each in the other."""
    lights = ["position_mm = [0, 0, 20]", "position_mm = [8, 0, 20]"]
    (found,) = misfits(problem_of(BLOCK, *lights))
    assert found.blocks
    assert found.by_mm == pytest.approx(2.0, abs=0.02)
    assert found.place_mm == pytest.approx([4, 0, 20 - 1.4], abs=0.02)
    assert "light 2" in found.what
    apart = lights[0], "position_mm = [8, 0, 26]"
    assert fits(problem_of(BLOCK, *apart))


def test_half_in_a_pocket_is_a_thing_to_look_at():
    problem = problem_of(BLOCK + POCKET, "position_mm = [0, 0, 11]")
    found = misfits(problem)
    assert [misfit.blocks for misfit in found] == [False]
    # 1 mm of 2.8 stands in the pocket.
    assert found[0].what.startswith("stands 64 % in upholstery_foam_white and 36 % in air")
    assert fits(problem)


@pytest.mark.parametrize(("z", "free"), [(14.0, 1.0), (13.0, 0.0), (17.0, None)])
def test_room_for_wires_behind_a_board_in_a_pocket(z, free):
    """The pocket's floor is at z = 10, the board 2.8 mm thick."""
    found = misfits(problem_of(BLOCK + POCKET, f"position_mm = [0, 0, {z}]"))
    if free is None:
        assert found == ()
        return
    (one,) = found
    assert not one.blocks
    assert 3.0 - one.by_mm == pytest.approx(z - 2.8 - 10, abs=0.26)  # looked at in steps
    assert "wires" in one.what


def test_strip_wants_room_at_one_end_alone():
    strip = "direction = [0, 0, 1]\nalong = [1, 0, 0]\nled_count = 2"
    walls = "".join(
        f"""[[bodies.inserts]]
kind = "core"
coat = "wood_dowel"
shape = {{ kind = "rod", length_mm = 30, diameter_mm = 6 }}
position_mm = [{x}, 0, 5]
"""
        for x in (-20.5, 20.5)
    )
    one = BLOCK + walls[: len(walls) // 2]
    # Two of 16.67 mm: the ends are at 16.67 mm, the dowels 0.83 mm beyond.
    at = f"position_mm = [0, 0, 20]\n{strip}"
    (found,) = misfits(problem_of(BLOCK + walls, at, board="strip_60"))
    assert not found.blocks
    assert "either end" in found.what
    assert misfits(problem_of(one, at, board="strip_60")) == ()


def test_back_that_shows_only_where_nothing_glows_is_no_fault():
    """A board set into a foot: its back stands out of the painted face."""
    masked = BLOCK + '[[bodies.masks]]\ncoat = "opaque_primer"\nwhere = { below_mm = 0.1 }\n'
    place = "position_mm = [0, 0, 1]"
    (found,) = [m for m in misfits(problem_of(masked, place)) if "sticks" in m.what]
    assert not found.blocks
    assert found.by_mm == pytest.approx(1.8, abs=0.01)
    assert not fits(problem_of(BLOCK, place))


def test_places_are_in_the_body_whatever_way_a_board_faces():
    way = np.array([1.0, 1.0, 1.0]) / np.sqrt(3)
    place = np.array([28.0, 0, 20]) - 0.5 * way
    text = f"position_mm = {place.tolist()}\ndirection = {way.tolist()}"
    (found,) = [m for m in misfits(problem_of(BLOCK, text)) if m.blocks]
    # The rim's farthest point toward +x: 5 sqrt(1 - 1/3) beyond the middle of the front.
    assert found.by_mm == pytest.approx(place[0] + 5 * np.sqrt(2 / 3) - 30, abs=0.02)
