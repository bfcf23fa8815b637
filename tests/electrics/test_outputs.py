"""Data outputs: frame times, counts of LEDs, branches, warnings."""

import pytest
from numpy.testing import assert_allclose

from glowsim.electrics.data_line import frame_ms, most_leds_per_output
from tests.electrics.props import electrics, row

BUS = '[wiring]\nkind = "bus"\nfeed_mm = 500\nspacing_mm = 150\n'
STAR = '[wiring]\nkind = "star"\nrun_mm = 500\n'


def controller(**keys):
    words = {True: "true", False: "false"}
    lines = [f"{key} = {words.get(value, value)}" for key, value in keys.items()]
    return "\n".join(["[controller]", *lines, ""])


def plan(text, **keys):
    return electrics(text + controller(**keys)).data


def supply(volts):
    """Return a battery behind a converter to a voltage."""
    return f'[power]\nbattery = "lithium_18650"\nconverter = {{ output_v = {volts} }}\n'


# 24 bits of 1.25 us an LED and a pause of 300 us: floor((1e6/fps - 300)/30), by hand.
@pytest.mark.parametrize(
    ("fps", "leds"), [(30, 1101), (60, 545), (100, 323), (200, 156), (400, 73), (4000, 0)]
)
def test_most_leds_at_a_frame_rate(fps, leds):
    assert most_leds_per_output(fps) == leds
    if leds:
        assert leds * 0.030 + 0.3 <= 1000 / fps < (leds + 1) * 0.030 + 0.3


def test_a_frame_of_a_hundred_leds():
    # 100 x 24 x 1.25 us + 300 us = 3.3 ms.
    text = row(1, board="strip_144").replace("position_mm", "led_count = 100\nposition_mm")
    prop = electrics(text)
    assert_allclose(frame_ms(prop.boards), 3.3, rtol=1e-12)
    assert frame_ms([]) == 0


def test_a_bus_is_one_output_and_a_star_one_for_each():
    assert [o.boards for o in plan(row(4, BUS)).outputs] == [(0, 1, 2, 3)]
    assert [o.boards for o in plan(row(4, STAR)).outputs] == [(0,), (1,), (2,), (3,)]
    assert plan(row(4, BUS)).memory_bytes == 4 * 7 * 3


def test_branches_of_a_tree():
    tree = (
        '[wiring]\nkind = "tree"\n'
        '[[wiring.segments]]\nend = "a"\nlength_mm = 9\nboards = ["spike 1"]\n'
        '[[wiring.segments]]\nstart = "a"\nend = "b"\nlength_mm = 9\nboards = ["spike 2"]\n'
        '[[wiring.segments]]\nstart = "a"\nend = "c"\nlength_mm = 9\nboards = ["spike 3"]\n'
        '[[wiring.segments]]\nstart = "b"\nend = "d"\nlength_mm = 9\nboards = ["spike 4"]\n'
    )
    # The data go on along the first way that leaves each point.
    assert [o.boards for o in plan(row(4, tree)).outputs] == [(0, 1, 3), (2,)]


def test_a_branch_too_long_for_the_rate_is_cut():
    # 7 LEDs: 0.21 ms a board + 0.3 ms; at 1000 frames a second three boards fit: 0.93 ms.
    found = plan(row(8, BUS), frames_per_second=1000)
    assert [len(o.boards) for o in found.outputs] == [3, 3, 2]
    assert all(o.most_frames_per_second >= 1000 for o in found.outputs)
    assert sorted(n for o in found.outputs for n in o.boards) == list(range(8))


def test_one_board_that_is_too_long_by_itself_is_said():
    found = plan(row(1, board="strip_144"), frames_per_second=400)
    assert any("pin 1 can send 216 frames a second, not 400" in note for note in found.notes)


@pytest.mark.parametrize(
    ("volts", "keys", "warned"),
    [
        (5.0, {"logic_v": 3.3}, True),
        (4.71, {"logic_v": 3.3}, False),  # 0.7 x 4.71 = 3.297
        (4.8, {"logic_v": 3.3}, True),
        (5.0, {"logic_v": 5.0}, False),
        (5.0, {"logic_v": 3.3, "level_shifter": True}, False),
    ],
)
def test_logic_level(volts, keys, warned):
    notes = plan(row(1) + supply(volts), **keys).notes
    assert any("Logic level" in note for note in notes) == warned


def test_too_little_memory_is_said():
    notes = plan(row(4, STAR), memory_bytes=50, level_shifter=True).notes
    assert any("84 bytes; the controller has 50" in note for note in notes)
    # 4 x 144 x 3 = 1728 bytes: most of what a small one has.
    many = row(4, STAR, board="strip_144")
    assert any("1728 bytes: too much for a small controller" in n for n in plan(many).notes)
    assert not any("A frame takes" in note for note in plan(many, memory_bytes=4096).notes)


def test_boards_without_data_need_dimmers():
    found = plan(row(2, board="star_rgb_3w"))
    assert found.outputs == ()
    assert found.dimmed_channels == 6
    assert plan(row(2, board="white_1w_warm")).dimmed_channels == 2
