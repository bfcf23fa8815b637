"""Levels found backwards: closed forms, limits, what no level can reach."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from glowsim.electrics.as_wired import colour_words, hue_name, light_share, pack_words
from glowsim.electrics.backwards import (
    brightest_factor,
    level_at,
    level_for_heat,
    level_for_hours,
    looks_words,
)
from glowsim.electrics.carriers import carriers
from glowsim.electrics.heat import heat_of
from glowsim.electrics.pack import run_time
from glowsim.errors import SceneError
from glowsim.scene import parse_scene
from glowsim.transport.result import SurfaceGlow
from tests.electrics.props import electrics, row

BANK = '[power]\nbattery = "power_bank_10000"\n'
CELLS = '[power]\nbattery = "alkaline_aaa"\nin_series = 3\n'
THIN = '[wiring]\nkind = "bus"\ngauge = 28\nfeed_mm = 300\nspacing_mm = 100\n'


def idle_row(count, more, drive=0.4):
    """Return spikes whose boards draw 7 mA while dark and 252 mA of light at full white."""
    return row(count, more, drive=drive).replace("quiescent_ma = 0.0", "quiescent_ma = 1.0")


@pytest.mark.parametrize("hours", [10.0, 20.0, 40.0])
def test_a_bank_of_fixed_capacity_has_a_closed_form(hours):
    # 10 Ah at 3.7 V, 0.85 of it at 5 V: hours = 37 x 0.85 / (5 x A); cells sag by 0.03 ohm.
    e = electrics(idle_row(6, BANK))
    level = level_for_hours(e, hours)
    amperes = 37 * 0.85 / 5 / hours
    by_hand = (amperes - 6 * 0.007) / (6 * 0.252 * 0.4)
    assert_allclose(level.factor, by_hand, rtol=0.02)
    assert level.run.hours >= hours
    assert_allclose(level.run.hours, hours, rtol=0.02)


def test_one_zone_pays_for_the_others():
    text = idle_row(6, BANK).replace('zone = "spikes"', 'zones = ["a", "a", "a", "b", "b", "b"]')
    e = electrics(text)
    both, one = level_for_hours(e, 14), level_for_hours(e, 14, "b")
    amperes = 37 * 0.85 / 5 / 14
    by_hand = (amperes - 6 * 0.007 - 3 * 0.252 * 0.4) / (3 * 0.252 * 0.4)
    assert_allclose(one.factor, by_hand, rtol=0.03)
    assert one.factor < both.factor
    with pytest.raises(SceneError, match="no zone 'c'; known: a, b"):
        level_for_hours(e, 14, "c")


def test_a_level_above_the_drawn_one_stops_at_full():
    e = electrics(idle_row(1, BANK, drive=0.4))
    level = level_for_hours(e, 1)
    assert_allclose(level.factor, brightest_factor(e))
    assert_allclose(level.factor, 2.5)


def test_hours_that_no_level_can_reach_are_one_message():
    # 6 boards draw 42 mA while dark: 37 x 0.85 / 5 / 0.042 = 150 h.
    with pytest.raises(SceneError) as caught:
        level_for_hours(electrics(idle_row(6, BANK)), 400)
    assert "no level lasts 400 h: all but dark" in str(caught.value)
    assert "3 such packs side by side" in str(caught.value)
    # With one zone alone turned down the others go on as drawn: 3 x 0.1078 + 3 x 0.007 A, and
    # 37 x 0.85 / 5 Ah a bank: 18 h, so that 50 h want three.
    zoned = idle_row(6, BANK).replace('zone = "spikes"', 'zones = ["a", "a", "a", "b", "b", "b"]')
    with pytest.raises(SceneError, match=r"dark and the others at your settings.*3 such packs"):
        level_for_hours(electrics(zoned), 50, "b")
    with pytest.raises(SceneError, match="the scene has no battery"):
        level_for_hours(electrics(idle_row(1, "")), 4)


def test_carriers_carry_and_the_lightest_comes_first():
    e = electrics(idle_row(2, CELLS))
    found = carriers(e, 3)
    assert all(c.run.hours >= 3 and c.verdict in ("yes", "with care") for c in found)
    grams = [c.pack.mass_g for c in found]
    assert grams == sorted(grams)
    # The scene's own cells are among them, as many side by side as it takes: one less will not do.
    (own,) = [c for c in found if c.pack.battery == e.own_pack.battery]
    fewer = replace(own.pack, in_parallel=own.pack.in_parallel - 1)
    assert run_time(fewer, e.circuit, e.boards, e.average_levels()).hours < 3


def test_a_pack_that_lasts_but_cannot_give_the_current_carries_nothing():
    short = carriers(electrics(idle_row(12, CELLS)), 0.01)
    assert short
    assert all(c.verdict in ("yes", "with care") for c in short)


def test_a_lower_level_needs_a_lighter_pack():
    e = electrics(idle_row(2, CELLS))
    # 24 h of 2 x 107.8 mA are 5.2 Ah: two of the 2.6 Ah cells at the least.
    bright, dim = carriers(e, 24), carriers(e, 24, 0.3 * e.average_levels())
    lithium = [c.pack for c in bright if c.pack.key == "lithium_18650"]
    assert lithium
    assert all(pack.in_series * pack.in_parallel >= 2 for pack in lithium)
    assert dim[0].pack.mass_g < bright[0].pack.mass_g
    assert carriers(e, 9000) == ()


def test_the_level_for_the_heat_meets_the_tightest_limit():
    text = idle_row(1, BANK, drive=1.0)
    scene = parse_scene(text + '[heat]\ncontact = "held"\n', "prop.toml")
    e = electrics(text)
    heat = heat_of(scene)
    assert heat.hottest.allowed_share < 1
    level = level_for_heat(e, heat)
    board = e.boards[0]
    power = 5 * board.current_ma(level.factor * e.average_levels()[0]) / 1000
    assert_allclose(power, heat.hottest.allowed_share * heat.hottest.power_w, rtol=1e-6)


def test_what_a_share_of_the_light_looks_like():
    assert looks_words(1.05) == "the eye sees no difference"
    # The cube root of an eighth is a half.
    assert "about 50 % as bright" in looks_words(0.125)
    assert "much darker" in looks_words(0.06)
    assert "2.0 times as bright" in looks_words(8)


def test_light_is_in_proportion_where_nothing_sags():
    e = electrics(idle_row(3, BANK))
    assert_allclose(level_at(e, 0.5).light, 0.5)


ORANGE = "drive = { red = 0.4, green = 0.1, blue = 0.0 }"


def orange(more, count=6):
    text = row(count, more, board="round_7")
    start = text.index("drive = ")
    return electrics(text[:start] + ORANGE + text[text.index("}", start) + 1 :])


def test_three_small_cells_turn_orange_red():
    e = orange(CELLS + THIN)
    words = colour_words(e, "nearly empty")
    assert words.startswith("On 3 x AAA alkaline cell, nearly empty, your orange turns red")
    assert colour_words(e, "fresh") == ""
    assert colour_words(orange(BANK + THIN), "nearly empty") == ""


def test_light_shares_are_those_of_the_state():
    e = orange(CELLS + THIN)
    share = light_share(e)
    assert share.shape == (6, 3)
    assert_allclose(share, e.state_drawn().share)
    assert (light_share(e, "nearly empty")[:, 1] < share[:, 1]).all()
    assert (light_share(orange("")) == 1).all()
    assert SurfaceGlow.dimmed  # what takes it


def test_a_pack_that_cannot_run_the_prop_is_said():
    assert "its limit 300 mA" in pack_words(electrics(idle_row(6, CELLS)))
    assert pack_words(electrics(idle_row(6, BANK))) == ""
    assert pack_words(electrics(idle_row(6, ""))) == ""


@pytest.mark.parametrize(
    ("rgb", "name"),
    [((1, 0, 0), "red"), ((1, 0.3, 0), "orange"), ((1, 1, 0), "yellow"), ((0, 1, 0), "green"),
     ((0, 0, 1), "blue"), ((1, 1, 1), "white"), ((1, 0, 1), "pink"), ((0, 0, 0), "dark")],
)  # fmt: skip
def test_names_of_hues(rgb, name):
    import numpy as np

    assert hue_name(np.array(rgb, float)) == name
