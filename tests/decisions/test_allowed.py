"""Which places are allowed: depth, room for the board, wire, heights, symmetry, drill."""

from __future__ import annotations

import re

import numpy as np
import pytest

from glowsim.decisions.allowed import Allowed, ways_of
from glowsim.decisions.boards import BoardKind, Poses
from glowsim.decisions.objective import Wish
from glowsim.decisions.room import Room, _counted
from glowsim.decisions.sites import candidates, facing, places_of
from glowsim.errors import SceneError
from glowsim.scene import DrillLine, DrillRing, Placing
from glowsim.transport.build import body_problem
from glowsim.transport.plan import plan_of
from tests.support.placing import scene

ROD = """shape = { kind = "rod", length_mm = 60, diameter_mm = 40 }
cell_mm = 4
detail_mm = 6
"""
CORE = """
[[bodies.inserts]]
kind = "core"
coat = "wood_dowel"
shape = { kind = "rod", length_mm = 80, diameter_mm = 8 }
position_mm = [12, 0, -10]
"""
BASE = """
[[bodies.masks]]
coat = "opaque_primer"
where = { part = "base" }
"""
UP = np.array([0.0, 0.0, 1.0])


def allowed(body: str = ROD, board: str = "rgb_5050_18ma", **keys: object) -> Allowed:
    file = scene(body, light=f'board = "{board}"\nposition_mm = [0, 0, 20]\n')
    plan = plan_of(file)
    only = file.scene.bodies[0]
    kind = BoardKind(only.lights[0], plan.catalogue, 0.4, only)
    return Allowed(body_problem(plan, 0), Placing.model_validate(keys), kind)


def at(*places: tuple[float, float, float], way: np.ndarray = UP) -> Poses:
    return Poses(np.array(places, float), np.tile(way, (len(places), 1)))


def test_a_board_needs_room_for_its_real_size():
    # 10 mm board, 1 mm clear: its rim reaches 6 mm from the middle; the rod's radius is 20.
    room = allowed(depth_mm=0)
    assert room.allows(at((13.5, 0, 20), (14.5, 0, 20))).tolist() == [True, False]
    wide = allowed(board="round_7", depth_mm=0)
    assert wide.allows(at((7.0, 0, 20), (8.0, 0, 20))).tolist() == [True, False]


def test_a_board_stands_clear_of_both_ends():
    room = allowed(depth_mm=0)
    # 2.8 mm thick behind its face, 1 mm clear on either side.
    assert room.allows(at((0, 0, 3.5), (0, 0, 4.0))).tolist() == [False, True]
    assert room.allows(at((0, 0, 58.7), (0, 0, 59.3))).tolist() == [True, False]


def test_leds_lie_at_least_the_asked_depth_below_the_surface():
    room = allowed(depth_mm=12)
    assert room.allows(at((0, 0, 30), (9, 0, 30), (0, 0, 50))).tolist() == [True, False, False]


def test_a_board_keeps_clear_of_a_core():
    room = allowed(ROD + CORE + BASE, depth_mm=0)
    assert room.allows(at((0, 0, 30), (4, 0, 30), (-8, 0, 30))).tolist() == [True, False, True]


def test_a_wire_must_not_come_out_where_the_surface_glows():
    free = allowed(ROD + BASE, depth_mm=0)
    assert free.allows(at((0, 0, 30))).all()
    shown = allowed(ROD + BASE, depth_mm=0, wire_toward=[1, 0, 0])
    assert not shown.allows(at((0, 0, 30))).any()
    assert allowed(ROD + BASE, depth_mm=0, wire_toward="anywhere").allows(at((0, 0, 30))).all()


def test_a_wire_must_not_meet_a_core():
    low = CORE.replace("length_mm = 80", "length_mm = 12").replace("[12, 0, -10]", "[0, 0, 5]")
    room = allowed(ROD + low + BASE, depth_mm=0)
    assert room.allows(at((0, 0, 40), (10, 0, 40))).tolist() == [False, True]


def test_heights_are_kept():
    room = allowed(depth_mm=0, above_mm=20, below_mm=30)
    assert room.allows(at((0, 0, 15), (0, 0, 25), (0, 0, 35))).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("apart", "free"),
    [((9.0, 0, 0), False), ((11.5, 0, 0), True), ((0, 0, 3.0), False), ((0, 0, 4.0), True)],
)
def test_boards_side_by_side_and_stacked(apart, free):
    # Discs 10 mm wide, 2.8 mm thick, 1 mm between them.
    clash = allowed().clash(at((0, 0, 30)), at(tuple(np.array([0, 0, 30.0]) + apart)))
    assert clash.tolist() == [not free]


def test_boards_at_right_angles():
    room = allowed()
    turned = at((0, 0, 36), way=np.array([1.0, 0, 0]))
    assert room.clash(at((0, 0, 30)), turned)[0]
    assert not room.clash(at((0, 0, 30)), at((0, 0, 37), way=np.array([1.0, 0, 0])))[0]


def test_candidates_come_in_even_sets():
    room = allowed(symmetry=3)
    sites = candidates(room, ways_of([UP], room.kind), 300)
    assert set(np.unique(sites.count)) == {1, 3}
    for number in np.nonzero(sites.count == 3)[0][:20]:
        first, second, third = sites.of(int(number)).position
        assert np.linalg.norm(first - second) == pytest.approx(np.linalg.norm(second - third))
        assert first[2] == pytest.approx(second[2])
    on_axis = sites.poses.position[np.isin(sites.site, np.nonzero(sites.count == 1)[0])]
    np.testing.assert_allclose(on_axis[:, :2], 0.0, atol=1e-9)


def test_more_room_gives_every_candidate_there_was():
    tight, wide = allowed(depth_mm=8), allowed(depth_mm=3)
    sites = candidates(tight, ways_of([UP], tight.kind), 200)
    assert wide.allows(sites.poses).all()


def test_drill_along_a_line_and_on_a_ring():
    line = allowed(drill=DrillLine(kind="line", step_mm=5).model_dump())
    places = candidates(line, ways_of([UP], line.kind), 300).poses.position
    np.testing.assert_allclose(places[:, :2], 0.0, atol=1e-9)
    np.testing.assert_allclose(places[:, 2] % 5, 0.0, atol=1e-9)
    ring = allowed(drill=DrillRing(kind="ring", radius_mm=9, count=8, step_mm=10).model_dump())
    places = candidates(ring, ways_of([UP], ring.kind), 300).poses.position
    np.testing.assert_allclose(np.linalg.norm(places[:, :2], axis=1), 9.0)
    assert len(places) % 8 == 0


def room(body: str, board: str, **keys: object) -> Room:
    file = scene(body, light=f'board = "{board}"\nposition_mm = [0, 0, 45]\n')
    plan = plan_of(file)
    light = file.scene.bodies[0].lights[0]
    return Room(plan, 0, body_problem(plan, 0), light, Placing.model_validate(keys), Wish())


def test_no_room_says_which_rule_refuses_how_many_places_and_what_would_fit():
    thin = ROD.replace("diameter_mm = 40", "diameter_mm = 20")
    with pytest.raises(SceneError) as fault:
        room(thin, "round_7").check(1)
    said = str(fault.value)
    assert "no place for the board 'round_7' (23 x 23 x 3.2 mm)" in said
    counts = [
        int(count) for count in re.findall(r"^ +(\d+) (?:have|reach|lie|let|are)", said, re.M)
    ]
    looked_at = int(re.search(r"(\d+) places inside it were looked at", said).group(1))
    assert sum(counts) == looked_at
    assert counts[-1] == 0
    assert "less than 3 mm below the surface (depth_mm)" in said
    # The board that would do is one that is found to.
    smaller = re.search(r"with the board '(\w+)' \d+ places are free and 1 board finds room", said)
    room(thin, smaller.group(1)).check(1)


@pytest.mark.slow
def test_a_remedy_that_is_named_makes_the_room_that_is_asked_for():
    # A board of 23 mm, 9.5 mm clear around, does not go into a rod of 40 mm; 4.75 mm clear does.
    with pytest.raises(SceneError) as fault:
        room(ROD, "round_7", depth_mm=2, clearance_mm=9.5).check(1)
    said = str(fault.value)
    assert re.search(r"reach out through its surface with 9.5 mm clear around", said)
    assert re.search(r"tried: with clearance_mm 4.8 \d+ places are free and 1 board finds", said)
    room(ROD, "round_7", depth_mm=2, clearance_mm=4.75).check(1)


@pytest.mark.slow
def test_boards_are_stacked_as_close_as_they_may():
    # Boards 3.2 mm thick, 1 mm between, in 60 mm of rod less 1 mm at one end and what the LEDs
    # must lie deep at the other: fourteen at most, if the first stands as low as it can.
    stack = room(ROD.replace("diameter_mm = 40", "diameter_mm = 27"), "round_7", depth_mm=1)
    assert stack.fits(12)
    assert not stack.fits(15)
    with pytest.raises(SceneError, match=r"15 boards .* beside each other; 1[2-4] is the most"):
        stack.check(15)
    apart = stack.packed(12).poses.position
    assert np.diff(np.sort(apart[:, 2])).min() >= 4.2 - 1e-9


def test_a_core_in_the_way_is_named():
    low = CORE.replace("length_mm = 80", "length_mm = 40").replace("[12, 0, -10]", "[0, 0, -10]")
    there = room(ROD + low + BASE, "round_7", wire_toward="anywhere")
    poses = facing(places_of(there.allowed, 8.0), there.ways)
    said = "\n".join(_counted(there.allowed, poses, 8.0, len(there.ways)))
    assert re.search(r"\d+ reach into the core 'wood_dowel' with 1 mm clear", said)


def test_a_strip_cannot_face_along_itself():
    file = scene(
        ROD.replace("length_mm = 60", "length_mm = 160"),
        light='board = "strip_60"\nled_count = 4\nposition_mm = [0, 0, 80]\n'
        "direction = [1, 0, 0]\nalong = [0, 0, 1]\n",
    )
    plan = plan_of(file)
    only = file.scene.bodies[0]
    kind = BoardKind(only.lights[0], plan.catalogue, 0.4, only)
    assert kind.size_mm == pytest.approx((4 * 16.667, 10.0, 1.9))
    assert len(ways_of([UP, [1, 0, 0]], kind)) == 1
