"""The power report of whole scenes, and the light that the wires let through."""

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.catalogue import load_catalogue
from glowsim.electrics.as_wired import loss_words, wired
from glowsim.electrics.doubts import electric_doubts
from glowsim.electrics.power import power_report
from glowsim.electrics.power_words import (
    battery_words,
    fuse_words,
    gauge_words,
    limits_words,
    wiring_words,
)
from glowsim.electrics.report_json import power_json
from tests.electrics.props import electrics, row
from tests.pictures.glows import body_glow, glow_of, moved, sphere

BUS = '[wiring]\nkind = "bus"\ngauge = 20\nfeed_mm = 500\nspacing_mm = 150\n'
SCENES = Path(__file__).parents[2] / "scenes"


def report_of(text):
    return power_report(electrics(text))


def test_currents_add_up():
    text = row(5, '[[pulses]]\nzone = "spikes"\npattern = "swell"\nlow = 0.0\n', "round_7", 0.5)
    report = report_of(text)
    # 35 LEDs of the 18 mA class with 0.6 mA in the dark: data sheet.
    assert report.total.leds == 35
    assert_allclose(report.total.idle_ma, 35 * 0.6)
    assert_allclose(report.total.white_ma, 35 * (3 * 18 + 0.6))
    assert_allclose(report.total.drawn_ma, 35 * (0.5 * 3 * 18 + 0.6))
    assert_allclose(report.total.average_ma, 35 * (0.25 * 3 * 18 + 0.6), rtol=1e-6)
    assert_allclose(sum(z.white_ma for z in report.zones), report.total.white_ma)


def test_a_measured_current_is_used():
    text = row(1).replace("zone =", "channel_current_ma = 15\n  zone =")
    assert_allclose(report_of(text).total.white_ma, 7 * 3 * 15)


def test_each_led_apart_counts_once():
    text = row(2).replace("zone =", "separate_leds = true\n  zone =")
    prop = electrics(text)
    assert [len(b.lights) for b in prop.boards] == [7, 7]
    assert prop.boards[1].lights == tuple(range(7, 14))
    assert_allclose(power_report(prop).total.white_ma, 2 * 252)


def test_what_is_assumed_is_said():
    notes = " ".join(report_of(row(1)).notes)
    for words in ("names no battery", "has no wiring", "has no pulses"):
        assert words in notes
    whole = row(1, '[power]\nbattery = "nimh_aa"\nin_series = 4\n' + BUS)
    assert "battery" not in " ".join(report_of(whole).notes).replace("no pulses", "")


def test_fuse_and_the_wire_behind_it():
    # 2.52 A: by IEC 60127 a fuse carries its rating, so 3.15 A; by UL 248-14 three quarters of it:
    # 3.36, so 4 A. Behind it a wire that bears that inside foam.
    report = report_of(row(10, BUS))
    assert (report.fuse.fuse_a, report.fuse.rule, report.fuse.other_a) == (3.15, "IEC", 4.0)
    assert report.fuse.for_white
    assert report.wiring.gauge.faults == ()
    american = report_of(row(10, '[power]\nbattery = "power_bank_10000"\nin_parallel = 2\n'
                                 'fuse_rule = "UL"\n' + BUS))  # fmt: skip
    assert (american.fuse.fuse_a, american.fuse.other_a) == (4.0, 3.15)
    for words in ("3.15 A time-lag (T) by IEC 60127", "By UL 248-14", "would be 4 A"):
        assert words in fuse_words(report.fuse)


# Ten boards of 252 mA on a bus of 0.5 m and nine times 0.15 m, 0.0842 ohm/m: 0.499 V by hand.
def test_one_gauge_with_its_three_reasons():
    thin = report_of(row(10, BUS.replace("20", "28")))
    gauge = thin.wiring.gauge
    assert (gauge.for_drop, gauge.for_current, gauge.for_fuse) == ("24 AWG", "22 AWG", "22 AWG")
    assert gauge.gauge == "22 AWG"  # the thickest of the three
    assert len(gauge.faults) == 3
    words = " ".join(gauge_words(thin.wiring, thin.fuse))
    assert words.startswith("Do not build it as it is: for full white, 28 AWG carries up to 2.52 A")
    assert "Wire: 22 AWG or thicker throughout" in words
    # The cut list is that of the wiring to build; the voltages stay those of the scene.
    assert {p.gauge for p in thin.cut_list if p.conductor != "data"} == {"22 AWG"}
    assert all(run.gauge == "28 AWG" for run in thin.wiring.harness.runs)


@pytest.mark.parametrize("gauge", [18, 20, 22, 24, 26, 28, 30])
def test_a_wiring_is_sound_just_if_all_three_reasons_are_met(gauge):
    report = report_of(row(10, BUS.replace("20", str(gauge))))
    wire = load_catalogue().wires[f"{gauge} AWG"]
    drop_v = 2 * wire.ohm_per_mm * 0.252 * (500 * 10 + 150 * sum(range(1, 10)))
    sound = drop_v <= 0.5 and wire.buried_a >= max(2.52, report.fuse.fuse_a)
    assert (report.wiring.gauge.faults == ()) == sound
    assert_allclose(report.wiring.gauge.drop_v, drop_v, rtol=1e-9)


def test_a_weak_battery_gets_a_fuse_and_wire_for_what_it_can_give():
    text = row(10, '[power]\nbattery = "nimh_aa"\nin_series = 4\n' + BUS, drive=0.3)
    report = report_of(text)
    assert not report.fuse.for_white
    assert report.fuse.fuse_a == 0.8  # 10 x 75.6 mA
    assert_allclose(report.wiring.gauge.load_ma, 756)


def test_doubts_before_anything_is_cut():
    weak = '[power]\nbattery = "alkaline_aaa"\nin_series = 3\n'
    found = electric_doubts(electrics(row(10, weak + BUS.replace("20", "30"))))
    assert "cannot run this prop" in found[0]
    assert found[1].startswith("Do not build it as it is")
    short = '[power]\nbattery = "lithium_18650"\nwanted_hours = 40\n'
    (told, *_) = electric_doubts(electrics(row(2, short + BUS, drive=0.3)))
    assert "h are wanted. `glowsim power` with --hours 40 says which battery can run it" in told
    assert electric_doubts(electrics(row(10))) == ()
    assert electric_doubts(electrics(row(2, '[power]\nbattery = "power_bank_10000"\n' + BUS))) == ()


def test_no_light_at_all():
    text = row(1)
    start, end = text.index("  [[bodies.lights]]"), text.index("  [[bodies.patterns]]")
    report = report_of(text[:start] + text[end:])
    assert report.total.white_ma == 0
    assert report.choices == ()
    json.dumps(power_json(report))


@pytest.mark.parametrize("scene", sorted(SCENES.glob("*.toml")), ids=lambda path: path.stem)
def test_demo_scenes(scene):
    from glowsim.electrics.power import Electrics
    from glowsim.scene import read_scene

    scene_file = read_scene(scene)
    report = power_report(Electrics(scene_file))
    if scene_file.scene.power is None:
        assert report.choice is None
        return
    assert report.choice is not None
    data = json.loads(json.dumps(power_json(report)))
    assert data["total"]["drawn_ma"] <= data["total"]["white_ma"]
    assert {c.verdict for c in report.choices} >= {"no"}
    assert battery_words(report.choice).startswith("Its battery: ")
    assert limits_words(report.boards)
    if report.wiring:
        assert wiring_words(report.wiring)


def test_voltages_of_a_pack_are_told_where_no_converter_holds_them():
    held = '[power]\nbattery = "lithium_18650"\nconverter = { output_v = 5.0 }\n'
    free = battery_words(report_of(row(2, '[power]\nbattery = "lithium_18650"\n' + BUS)).choice)
    assert "Half used it has 3." in free
    assert "Half used" not in battery_words(report_of(row(2, held + BUS)).choice)


def test_the_thistle_starves_its_last_spikes():
    # One pinned number of the demo scene: one lithium cell, half used (3.82 V), a chain of 28 AWG.
    from glowsim.electrics.power import Electrics
    from glowsim.scene import read_scene

    wiring = power_report(Electrics(read_scene(SCENES / "thistle_staff.toml"))).wiring
    volts = wiring.drawn.board_v
    assert np.all(np.diff(volts) < 0)
    assert_allclose(volts[-1], 3.42, atol=0.02)
    assert wiring.drawn.share[-1, 2] < 0.8 < wiring.drawn.share[0, 2]


def test_wires_reach_the_glow():
    own = BUS.replace("20", "30") + '[power]\nbattery = "lithium_18650"\n'
    text = row(3, own, board="round_7")
    prop = electrics(text)
    ball = body_glow(sphere(10.0, 1), 100.0)
    glow = glow_of([ball], [(0, moved(60.0 * k, 0, 0)) for k in range(3)])
    shown, note = wired(glow, prop), loss_words(prop)
    share = prop.state_drawn().share
    for light, before, own in zip(shown.lights, glow.lights, share, strict=True):
        assert_allclose(light.drive, before.drive * own)
    bright = [shown.exitance_lm_mm2(copy)[1].mean() for copy in shown.copies]
    assert bright[0] > bright[1] > bright[2] > 0
    assert "spike 3: board" in note
    assert "battery half used" in note


def starved(drive):
    """Return the shares of light that the worst of five boards on thin wire holds, and the note."""
    own = BUS.replace("20", "30").replace("150", "600") + '[power]\nbattery = "lithium_18650"\n'
    before = "drive = { red = 1.0, green = 1.0, blue = 1.0 }"
    text = row(5, own, board="round_7")
    assert before in text
    prop = electrics(text.replace(before, f"drive = {{ {drive} }}"))
    state = prop.state_drawn()
    ball, places = body_glow(sphere(10.0, 1), 100.0), [(0, moved(60.0 * k, 0, 0)) for k in range(5)]
    assert wired(glow_of([ball], places), prop).supply
    note = loss_words(prop)
    return state.share[state.board_v.argmin()], note


def test_the_weakest_colour_is_the_one_that_loses_most():
    share, note = starved("red = 1, green = 1, blue = 1")
    assert share.min() < share.max() - 0.1
    assert f"; its weakest colour loses {100 * (1 - share.min()):.0f} %" in note


def test_a_colour_that_is_not_used_loses_nothing():
    share, note = starved("red = 1, green = 0, blue = 0")
    assert share[0] > 0.995
    assert share.min() < 0.9
    assert "weakest" not in note


def test_without_wiring_the_glow_stays():
    glow = glow_of([body_glow(sphere(10.0, 1), 100.0)])
    bare = electrics(row(1))
    assert wired(glow, bare) is glow
    assert loss_words(bare) == ""


def test_cautions_fit_the_battery_and_the_use():
    def titles(text):
        return [words.partition(":")[0] for words in report_of(text).cautions]

    alkaline = titles(row(1, '[power]\nbattery = "alkaline_aa"\nin_series = 3\n', drive=0.1))
    assert "Alkaline cells" in alkaline
    assert "Lithium cells" not in alkaline
    assert "Heat" not in alkaline
    bank = titles(row(1, '[power]\nbattery = "power_bank_10000"\n[heat]\ncontact = "worn"\n'))
    assert {"Lithium cells", "On the body"} <= set(bank)
    # 252 mA at 5 V are 1.26 W, more than the 0.4 W that is flagged.
    assert "Heat" in bank
    coin = titles(row(1, '[power]\nbattery = "coin_20mm"\nin_series = 2\n'))
    assert "Coin cells and small children" in coin
