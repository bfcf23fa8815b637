"""Where LEDs sit, in their body and in the room, and what they emit."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.catalogue import load_catalogue
from glowsim.optics.photometry import lambertian_order
from glowsim.scene import parse_scene
from glowsim.transport.build import build_problem

AHEAD = 0.05
"""LEDs shine from this far in front of their board [mm]."""
EXACT = {"rtol": 0, "atol": 1e-9}  # sums and turns of doubles


def body(*lights, extra="", patterns=""):
    text = (
        '[[bodies]]\nname = "b"\nmaterial = "upholstery_foam_white"\ndetail_mm = 20\n'
        'shape = { kind = "orb", diameter_mm = 300 }\n' + extra
    )
    return text + "".join(f"[[bodies.lights]]\n{light}\n" for light in lights) + patterns


def problem_of(*lights, extra="", patterns=""):
    return build_problem(parse_scene(body(*lights, extra=extra, patterns=patterns)))


def emitters(*lights):
    return problem_of(*lights).bodies[0].emitters


ONE = 'board = "rgb_5050_18ma"\nposition_mm = [1, 2, 3]'
STRIP = 'board = "strip_60"\nposition_mm = [0, 0, 0]\ndirection = [1, 0, 0]\nled_count = 4'


def test_one_led_shines_just_in_front_of_its_place():
    light = emitters(ONE + "\ndirection = [0, 5, 0]")
    assert_allclose(light.position, [[1, 2 + AHEAD, 3]], **EXACT)
    assert_allclose(light.direction, [[0, 1, 0]], **EXACT)
    assert_allclose(light.share, [1])
    assert light.light_count == 1
    angle = load_catalogue().board("rgb_5050_18ma").half_intensity_full_angle_deg
    assert_allclose(light.exponent, lambertian_order(angle / 2))


@pytest.mark.parametrize(
    ("along", "expected"),
    [
        ("", [0, 0, 1]),  # left out: along the body's z
        ("along = [0, 2, 0]", [0, 1, 0]),
        ("along = [7, 1, 0]", [0, 1, 0]),  # what lies across the direction counts
        ("along = [0, 3e-4, 4e-4]", [0, 0.6, 0.8]),
    ],
)
def test_a_strip_runs_along(along, expected):
    light = emitters(f"{STRIP}\n{along}")
    pitch = 16.667
    steps = (np.arange(4) - 1.5) * pitch
    places = steps[:, None] * np.array(expected) + [AHEAD, 0, 0]
    assert_allclose(light.position, places, **EXACT)
    assert_allclose(light.direction, [[1, 0, 0]] * 4, **EXACT)


def test_a_strip_that_faces_along_z_runs_along_x():
    light = emitters(STRIP.replace("[1, 0, 0]", "[0, 0, 1]"))
    assert_allclose(light.position[:, 1:], np.tile([0, AHEAD], (4, 1)), **EXACT)
    assert_allclose(np.diff(light.position[:, 0]), 16.667, **EXACT)


@pytest.mark.parametrize("way", [(0, 0, 1), (1, 0, 0), (1, -2, 3), (0, 0, -1)])
def test_a_ring_lies_across_its_direction(way):
    light = emitters(f'board = "ring_12"\nposition_mm = [5, 6, 7]\ndirection = {list(way)}')
    axis = np.array(way) / np.linalg.norm(way)
    offsets = light.position - [5, 6, 7]
    assert_allclose(offsets @ axis, AHEAD, **EXACT)
    assert_allclose(np.linalg.norm(offsets - AHEAD * axis, axis=1), 30.1 / 2, **EXACT)
    assert_allclose((offsets - AHEAD * axis).sum(axis=0), 0, **EXACT)


def test_a_board_has_its_centre_led_and_equal_shares():
    light = emitters('board = "round_7"\nposition_mm = [0, 0, 0]')
    assert_allclose(light.position[0], [0, 0, AHEAD], **EXACT)
    assert_allclose(light.share, 1 / 7, rtol=1e-12)
    assert light.light_count == 1


def test_separate_leds_are_lights_of_their_own():
    problem = problem_of(
        'board = "round_7"\nposition_mm = [0, 0, 0]\nseparate_leds = true\nname = "eye"', ONE
    )
    light = problem.bodies[0].emitters
    assert light.light.tolist() == [*range(7), 7]
    assert_allclose(light.share, 1, rtol=1e-12)
    names = [source.name for source in problem.lights]
    assert names[:2] == ["b: eye, LED 1", "b: eye, LED 2"]
    assert names[-1] == "b: light 2"
    assert_allclose([s.position_mm for s in problem.lights], light.position, **EXACT)


def test_separate_or_not_the_flux_and_power_are_the_same():
    board = 'board = "round_7"\nposition_mm = [0, 0, 0]'
    together = problem_of(board).lights
    apart = problem_of(board + "\nseparate_leds = true").lights
    assert_allclose(sum(s.flux_lm for s in apart), together[0].flux_lm, rtol=1e-12)
    assert_allclose(sum(s.power_w for s in apart), together[0].power_w, rtol=1e-12)
    one = load_catalogue().board("round_7")
    assert_allclose(together[0].flux_lm, 7 * np.array(one.flux_lm), rtol=1e-12)
    assert_allclose(together[0].full_power_w, one.power_w(1.0), rtol=1e-12)


def test_a_strip_cut_to_length_has_its_share():
    whole = load_catalogue().board("strip_60")
    (source,) = problem_of(STRIP).lights
    assert_allclose(source.flux_lm, 4 * np.array(whole.flux_lm), rtol=1e-12)
    assert_allclose(source.full_power_w, whole.power_w(1.0) * 4 / 60, rtol=1e-12)


def test_drive_and_current():
    (source,) = problem_of(ONE + "\ndrive = { red = 0.5, blue = 0 }\nchannel_current_ma = 9").lights
    board = load_catalogue().board("rgb_5050_18ma")
    assert_allclose(source.drive, [0.5, 1, 0])
    assert_allclose(source.flux_lm, board.flux_at_current_lm(9), rtol=1e-12)
    assert source.power_w < source.full_power_w
    (white,) = problem_of(
        'board = "white_1w_warm"\nposition_mm = [0, 0, 0]\ndrive = { white = 0.25, red = 0 }'
    ).lights
    assert_allclose(white.drive, 0.25)


def test_lights_stand_where_their_copies_do():
    problem = problem_of(
        ONE,
        extra="position_mm = [0, 0, 400]\n",
        patterns='[[bodies.patterns]]\nkind = "around"\ncount = 4\ntilt_deg = 90\n',
    )
    assert [copy.name for copy in problem.copies] == ["b 1", "b 2", "b 3", "b 4"]
    assert [copy.lights for copy in problem.copies] == [(0,), (1,), (2,), (3,)]
    # The body's z becomes the direction outward; its x looks down, its y along the turn.
    x, y, z = 1, 2, 3 + AHEAD + 400
    expected = [[z, y, -x], [-y, z, -x], [-z, -y, -x], [y, -z, -x]]
    assert_allclose([s.position_mm for s in problem.lights], expected, **EXACT)
    assert [s.name for s in problem.lights] == [f"b {k}: light 1" for k in (1, 2, 3, 4)]


def test_equal_bodies_keep_lights_of_their_own():
    one = body(ONE + '\nzone = "left"')
    two = body(ONE + "\ndrive = { red = 0 }", extra="position_mm = [500, 0, 0]\n")
    problem = build_problem(parse_scene(one + two.replace('"b"', '"c"')))
    assert len(problem.bodies) == 1
    assert [source.zone for source in problem.lights] == ["left", "all"]
    assert [source.drive[0] for source in problem.lights] == [1, 0]
    assert_allclose(problem.lights[1].position_mm, [501, 2, 3 + AHEAD], **EXACT)


def test_an_led_on_the_floor_of_a_pocket_shines_into_the_pocket():
    pocket = (
        '[[bodies.inserts]]\nkind = "pocket"\nposition_mm = [0, 0, -10]\n'
        'shape = { kind = "rod", length_mm = 20, diameter_mm = 30 }\n'
    )
    for way, region in (("[0, 0, 1]", 1), ("[0, 0, -1]", 0)):
        light = f'board = "rgb_5050_18ma"\nposition_mm = [0, 0, -10]\ndirection = {way}'
        found = problem_of(light, patterns=pocket).bodies[0].emitters
        assert found.region.tolist() == [region]


def test_an_led_on_the_side_of_a_pocket_is_in_the_pocket_or_the_material():
    pocket = (
        '[[bodies.inserts]]\nkind = "pocket"\nposition_mm = [0, 0, -10]\n'
        'shape = { kind = "slab", length_mm = 20, width_mm = 20, thickness_mm = 20 }\n'
    )
    light = 'board = "rgb_5050_18ma"\nposition_mm = [10, 0, 0]'
    assert problem_of(light, patterns=pocket).bodies[0].emitters.region[0] in (0, 1)
