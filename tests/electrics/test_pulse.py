"""Levels over time: shapes, phases, the irregular ones, codes for a controller."""

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.electrics.pack import HALF_USED
from glowsim.electrics.pulse import (
    DUTY_OF_CODE,
    EMBER_BAND,
    FASTEST_EMBER_HZ,
    NEVER_DARK,
    codes_of,
    course_of,
)
from glowsim.electrics.pulse_report import current_ma, levels_as_wired, pulse_report
from tests.electrics.props import electrics, row


def course(count=1, **pulse):
    return electrics(row(count, written(**pulse))).course


def written(**pulse):
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in pulse.items()]
    return "\n".join(["[[pulses]]", 'zone = "spikes"', *lines])


def test_steady_stays_at_high():
    levels = course(pattern="steady", high=0.7).levels(np.linspace(0, 9, 50))
    assert_allclose(levels, 0.7)


def test_swell_is_a_soft_wave():
    # (1 - cos)/2 between low and high: low at 0, the middle at a quarter, high at half a period.
    one = course(pattern="swell", period_s=4, low=0.2, high=0.8)
    levels = one.levels(np.array([0, 1, 2, 3, 4.0]))
    assert_allclose(levels[:, 0], [0.2, 0.5, 0.8, 0.5, 0.2], atol=1e-12)


def test_phase_starts_ahead_and_stagger_runs_behind():
    time_s = np.linspace(0, 4, 33)
    plain = course(pattern="swell").levels(time_s)[:, 0]
    ahead = course(pattern="swell", phase=0.25).levels(time_s)[:, 0]
    assert_allclose(ahead[:-8], plain[8:], atol=1e-12)
    waves = course(3, pattern="swell", stagger=0.25).levels(time_s)
    assert waves.shape == (33, 3)
    assert_allclose(waves[8:, 1], waves[:-8, 0], atol=1e-12)
    assert_allclose(waves[8:, 2], waves[:-8, 1], atol=1e-12)


def test_blink_is_on_for_its_share():
    one = course(pattern="blink", period_s=1, on_share=0.3, low=0)
    levels = one.levels((np.arange(10_000) + 0.5) / 1000)[:, 0]
    assert set(levels) == {0.0, 1.0}
    assert_allclose(levels.mean(), 0.3, atol=1e-3)
    assert_allclose(one.mean_levels(), 0.3, atol=1e-9)


def test_beat_strokes_twice_and_rests():
    levels = course(pattern="beat", period_s=1, low=0).levels(np.arange(1000) / 1000)[:, 0]
    peaks = (levels[1:-1] > levels[:-2]) & (levels[1:-1] >= levels[2:])
    strokes = levels[1:-1][peaks & (levels[1:-1] > 0.1)]
    assert_allclose(strokes, [1.0, 0.65], atol=0.01)
    assert levels[600:900].max() < 0.01


def test_every_pattern_repeats_and_stays_between_low_and_high():
    for pattern in ("steady", "swell", "beat", "blink", "ember", "glint"):
        one = course(2, pattern=pattern, period_s=0.5, low=0.25, high=0.75, stagger=0.3)
        time_s = np.linspace(0, 7, 400)
        levels = one.levels(time_s)
        assert levels.min() >= 0.25 - 1e-12
        assert levels.max() <= 0.75 + 1e-12
        assert_allclose(one.levels(time_s + one.cycle_s + 1e-9), levels, atol=1e-5)


def test_a_seed_decides_the_irregular_ones():
    time_s = np.linspace(0, 30, 300)
    for pattern in ("ember", "glint"):
        one, same, other = (course(pattern=pattern, seed=seed).levels(time_s) for seed in (3, 3, 4))
        assert_allclose(one, same, rtol=0)
        assert np.abs(one - other).max() > 0.2


@pytest.mark.parametrize("period_s", [0.2, 1.0, 4.0])
def test_an_ember_is_noise_of_a_band(period_s):
    # Its waves lie between a quarter and three rounds a period and never above 2 Hz; squashing them
    # to 0..1 adds overtones, so the power is looked at, not its last trace.
    one = course(pattern="ember", period_s=period_s, low=0)
    cycle = one.cycle_s
    count = 4096
    levels = one.levels(cycle * np.arange(count) / count)[:, 0]
    power = np.abs(np.fft.rfft(levels - levels.mean())) ** 2
    hertz = np.arange(len(power)) / cycle
    most = max(EMBER_BAND[0] / period_s, min(EMBER_BAND[1] / period_s, FASTEST_EMBER_HZ))
    assert power[hertz > 2 * most].sum() < 0.03 * power.sum()
    assert power[hertz < 0.9 * EMBER_BAND[0] / period_s].sum() < 0.2 * power.sum()
    assert levels.std() > 0.1


def test_embers_drift_apart_and_never_all_go_dark():
    for seed in range(5):
        levels = course(6, pattern="ember", stagger=0.2, low=0, seed=seed).levels(
            np.linspace(0, 64, 3000)
        )
        assert levels.max(axis=1).min() >= NEVER_DARK - 1e-12
        assert levels.min() < 0.05  # one by one they do
        apart = np.corrcoef(levels.T)[np.triu_indices(6, 1)]
        assert np.abs(apart).max() < 0.75
        assert abs(apart.mean()) < 0.3
        assert np.abs(np.diff(levels, axis=0)).max() < 0.1  # 21 ms: no jumps


def test_zones_of_embers_go_their_own_ways():
    text = row(1).replace('title = "Row"', "") + (
        '[[bodies]]\nname = "b"\nmaterial = "pla_white"\n'
        'shape = { kind = "orb", diameter_mm = 40 }\n'
        '[[bodies.lights]]\nboard = "plain"\nposition_mm = [0, 0, 0]\nzone = "other"\n'
        + written(pattern="ember")
        + '\n[[pulses]]\nzone = "other"\npattern = "ember"\n'
    )
    levels = electrics(text).course.levels(np.linspace(0, 64, 1000))
    assert abs(np.corrcoef(levels.T)[0, 1]) < 0.8


def test_a_zone_without_a_pulse_stands_still():
    prop = electrics(row(2))
    one = course_of(prop.boards, ())
    assert not one.moves
    assert_allclose(one.levels(np.arange(3.0)), 1.0)
    assert_allclose(one.mean_levels(), 1.0)


def test_levels_reach_every_light_of_their_member():
    one = course(3, pattern="swell", stagger=0.5)
    spread = one.of_lights(np.array([[0.1, 0.2, 0.3]]), 4)
    assert_allclose(spread, [[0.1, 0.2, 0.3, 1.0]])


def test_average_current_is_the_mean_over_a_round():
    # Swell from 0 to 1 has the mean 1/2: half of 2 x 252 mA; plain boards draw nothing in the dark.
    report = pulse_report(
        electrics(row(2, written(pattern="swell", low=0.0, period_s=2))),
        seconds=4,
        frames_per_second=25,
    )
    assert_allclose(report.average_ma, 252, rtol=1e-6)
    assert_allclose(report.current_ma.mean(), 252, rtol=1e-6)
    assert_allclose(report.current_ma.max(), 504, rtol=1e-2)
    assert report.seamless


def test_current_follows_the_drive_and_the_level():
    prop = electrics(row(2, written(pattern="swell", low=0.0, period_s=2), drive=0.5))
    levels = np.array([[0.0, 0.0], [0.5, 0.5], [1.0, 1.0]])  # of the two members
    assert_allclose(current_ma(prop, levels), [0, 126, 252])


def test_the_fastest_of_several_pulses_says_how_often_to_look():
    slow = written(pattern="swell", period_s=4).replace("spikes", "slow")
    text = row(2, written(pattern="blink", period_s=0.02, low=0.0) + "\n" + slow)
    text = text.replace('zone = "spikes"\n  drive', 'zone = "{copy}"\n  drive')
    text = text.replace('zone = "spikes"', 'zone = "1"').replace('zone = "slow"', 'zone = "2"')
    report = pulse_report(electrics(text), seconds=2, frames_per_second=25)
    assert len(report.moving) == 2
    assert report.levels_for_flashes()[0] >= 100


def test_a_stretch_that_does_not_close_is_said():
    prop = electrics(row(1, written(pattern="ember", period_s=5)))
    assert prop.course.cycle_s == 80
    assert not pulse_report(prop, seconds=10, frames_per_second=10).seamless
    assert pulse_report(prop, seconds=80, frames_per_second=10).seamless


@pytest.mark.parametrize(
    ("pulse", "most_hz"),
    [
        ({"pattern": "blink", "period_s": 0.02}, 100.0),
        ({"pattern": "blink", "period_s": 0.25, "on_share": 0.04}, 200.0),
        ({"pattern": "swell", "period_s": 4}, 25.0),
        ({"pattern": "beat", "period_s": 0.2}, 100.0),
    ],
)
def test_no_stroke_is_too_short_for_the_flash_count(pulse, most_hz):
    prop = electrics(row(1, written(low=0.0, **pulse)))
    report = pulse_report(prop, seconds=2, frames_per_second=25)
    rate, levels = report.levels_for_flashes()
    assert rate >= most_hz - 1e-9
    changes = np.abs(np.diff(levels[:, 0])) > 0.5
    if pulse["pattern"] == "blink":  # on and off once in each period of the two seconds
        assert abs(changes.sum() - 2 * 2 / pulse["period_s"]) <= 2


def test_a_very_long_stretch_is_looked_at_in_part():
    prop = electrics(row(1, written(pattern="blink", period_s=0.02)))
    report = pulse_report(prop, seconds=600, frames_per_second=25)
    assert len(report.levels_for_flashes()[1]) == 6000


# ---- codes for a controller --------------------------------------------------------------


def test_duty_follows_cie_lightness():
    # L* 50 is Y 0.184187 (CIE 15): code 127.5 of 255; the code 128 gives duty 47, where a gamma
    # of 2.2 would give 56.
    assert DUTY_OF_CODE[128] == 47
    assert DUTY_OF_CODE[0] == 0
    assert DUTY_OF_CODE[255] == 255
    assert np.all(np.diff(DUTY_OF_CODE.astype(int)) >= 0)
    for code in range(256):
        star = code / 255 * 100
        y = star * 27 / 24389 if star <= 8 else ((star + 16) / 116) ** 3  # CIE 15, by hand
        assert abs(DUTY_OF_CODE[code] - 255 * y) <= 0.5 + 1e-9


def test_codes_come_back_as_light():
    levels = np.linspace(0, 1, 2001)
    back = DUTY_OF_CODE[codes_of(levels)] / 255
    # Half a step of the code, at most 1.1 % of light where it is bright, and half one of the duty.
    assert np.abs(back - levels).max() < 0.5 / 255 + 0.0065


WIRES = """[power]
battery = "lithium_18650"
[wiring]
kind = "bus"
gauge = 30
feed_mm = 1500
spacing_mm = 500
"""
SWELL = '[[pulses]]\nzone = "spikes"\npattern = "swell"\nperiod_s = 2\nlow = 0.0\n'


def lit_by(prop, *lumens):
    """A glow of which only its lights' lumens matter, per board and band."""
    lights = [SimpleNamespace(flux_lm=np.array(lumens), drive=b.drive) for b in prop.boards]
    return SimpleNamespace(lights=lights)


def test_each_moment_has_the_loss_of_its_own_level():
    prop = electrics(row(4, WIRES + SWELL, drive=0.9))
    report = pulse_report(prop, seconds=2, frames_per_second=10)
    glow = lit_by(prop, 1.0, 3.0, 0.5)
    levels = levels_as_wired(prop, report, glow)[:, 0]
    own = report.moving_levels[:, 0]
    # Full level is what the glow was drawn with; below it less is lost, the lower the less.
    assert own[10] == pytest.approx(1.0)
    assert levels[10] == pytest.approx(1.0)
    gain = levels[1:11] / own[1:11]
    assert (np.diff(gain) < 1e-9).all()
    # Starved boards draw less, so all but no level gives nearly all of what the wires took away.
    full = prop.circuit.state(prop.supply.feed(HALF_USED), prop.drawn).share
    weight = np.array([1.0, 3.0, 0.5])
    lost = (full @ weight).sum() / (4 * weight.sum())
    assert lost < 0.9
    assert gain[0] == pytest.approx(1 / lost, rel=0.03)
    # In between: the lumens of that moment's own network.
    moment = prop.circuit.state(prop.supply.feed(HALF_USED), prop.drawn * own[4]).share
    assert gain[3] == pytest.approx((moment @ weight).sum() / (full @ weight).sum(), rel=1e-6)


def test_without_wires_levels_are_as_they_are():
    prop = electrics(row(4, SWELL))
    report = pulse_report(prop, seconds=2, frames_per_second=10)
    levels = levels_as_wired(prop, report, lit_by(prop, 1.0, 1.0, 1.0))
    np.testing.assert_array_equal(levels, report.moving_levels)


def test_moments_of_a_swell():
    # (1 - cos)/2 from 0.2 to 1 over 4 s: darkest at 0 s, brightest at 2 s.
    pulse = '[[pulses]]\nzone = "spikes"\npattern = "swell"\nperiod_s = 4\n'
    battery = '[power]\nbattery = "alkaline_aaa"\nin_series = 3\n'
    report = pulse_report(electrics(row(2, pulse + battery)), seconds=4, frames_per_second=50)
    moments = report.moments
    assert_allclose(moments["darkest"], (0.0, 0.2), atol=1e-9)
    assert_allclose(moments["brightest"], (2.0, 1.0), atol=1e-9)
    # Two boards of 252 mA at the brightest; three AAA cells bear 300 mA.
    assert_allclose(moments["most current"], (2.0, 504.0), atol=1e-6)
    assert report.limit_ma == 300


def test_a_run_goes_along_the_lights_once_a_period():
    """Each light is at its brightest as the stretch passes its own middle, one after the other."""
    run = course(4, pattern="run", period_s=4, on_share=0.25, low=0)
    time_s = np.linspace(0, 4, 4001)
    levels = run.levels(time_s)
    assert levels.shape == (4001, 4)
    assert_allclose(time_s[levels.argmax(axis=0)], [0.5, 1.5, 2.5, 3.5], atol=1e-3)
    # A quarter of the period wide at half its height.
    assert_allclose((levels > 0.5).mean(axis=0), 0.25, atol=2e-3)
