"""What is worth doing: enough gain in what is wanted, and nothing lost for it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from glowsim.decisions.heat import PowerLimit
from glowsim.decisions.objective import Wish
from glowsim.decisions.step import Step, judged
from glowsim.decisions.worth import LEAST_GAIN, LEAST_MEAN, weigh
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve
from tests.support.placing import scene

BALL = """shape = { kind = "orb", diameter_mm = 30 }
cell_mm = 4
detail_mm = 6
"""


@pytest.fixture(scope="module")
def step() -> Step:
    file = scene(BALL, light='board = "rgb_5050_18ma"\nposition_mm = [0, 0, 4]\n')
    solved = judged(solve(file), file, 0, 1, "cloud", plan_of(file).catalogue)
    return changed(solved, even=0.4 / solved.even)


def changed(
    step: Step,
    *,
    even: float = 1.0,
    mean: float = 1.0,
    power: float = 1.0,
    off_log: float = 1.0,
    **more: object,
) -> Step:
    """Return a step that differs in its evenness, mean, power and log of `off_by` by factors."""
    figures = replace(
        step.evenness,
        p5_over_mean=even * step.even,
        mean_cd_m2=mean * step.evenness.mean_cd_m2,
        off_by=step.evenness.off_by**off_log,
    )
    lights = tuple(replace(light, power_w=power * light.power_w) for light in step.glow.lights)
    return replace(
        step,
        findings=replace(step.findings, bodies=(figures,)),
        glow=replace(step.glow, lights=lights),
        **more,
    )


def regraded(step: Step, grade: str) -> Step:
    lit = replace(step.lit, grade=grade)
    return replace(step, findings=replace(step.findings, lit=(lit,)))


def test_nothing_is_gained_by_the_same(step):
    verdict = weigh(step, step, Wish())
    assert not verdict.worth
    assert verdict.sentences[0].startswith("Leave it: not worth doing")


@pytest.mark.parametrize(
    ("off_log", "worth"), [(1 - 1.2 * LEAST_GAIN, True), (1 - 0.8 * LEAST_GAIN, False)]
)
def test_a_gain_counts_from_the_least_on(step, off_log, worth):
    assert weigh(step, changed(step, off_log=off_log), Wish()).worth == worth


@pytest.mark.parametrize("even", [1.0, 1.3, 3.0])
def test_what_is_less_even_by_both_ends_is_never_done(step, even):
    worse = weigh(step, changed(step, even=even, off_log=1.02), Wish())
    assert not worse.worth
    (said,) = worse.sentences
    was, now = step.evenness.off_by, step.evenness.off_by**1.02
    assert f"off by x {now:.3g}, against x {was:.3g} now" in said
    assert worse.losses == ("dark and bright places together, that is less even",)


def test_fewer_boards_that_are_even_enough_are_a_gain(step):
    assert weigh(step, changed(step, off_log=1.2), Wish(), spares=True).worth
    dim = changed(step, mean=0.9 * LEAST_MEAN)
    assert not weigh(step, dim, Wish(), spares=True).worth


def test_evener_but_much_dimmer_is_left_and_the_loss_is_told(step):
    dim = weigh(step, changed(step, off_log=0.5, mean=0.9 * LEAST_MEAN), Wish())
    assert not dim.worth
    now = f"{0.9 * LEAST_MEAN * step.evenness.mean_cd_m2:.3g} cd/m2"
    assert f"its mean falls from {step.evenness.mean_cd_m2:.3g} to {now}" in dim.sentences[0]
    # Half the boards draw half the power: that they shine half as bright was asked for.
    assert weigh(step, changed(step, off_log=0.5, mean=0.9 * LEAST_MEAN, power=0.5), Wish()).worth


def test_a_lost_grade_is_not_worth_it(step):
    lower = regraded(changed(step, off_log=0.5), "looks painted")
    verdict = weigh(step, lower, Wish())
    assert not verdict.worth
    assert "that loses a grade" in verdict.sentences[0]


def test_side_effects_of_what_is_worth_doing_are_told(step):
    heat = PowerLimit(1.0, 0.5, "board", 2.0, 2.0, 0.5, 40.0, "")
    warmer = replace(heat, board_c=55.0)
    verdict = weigh(
        replace(step, heat=heat), changed(step, off_log=0.5, mean=0.95, heat=warmer), Wish()
    )
    assert verdict.worth
    said = " ".join(verdict.sentences)
    assert "Its mean falls from" in said
    assert "Its warmest board gets 55 °C in place of 40 °C." in said


def test_what_heat_does_not_bear_is_no_loss(step):
    hot = replace(step, heat=PowerLimit(0.1, 0.4, "board", 0.25, 1.0, 0.4, 90.0, ""))
    cool = changed(step, off_log=0.5, mean=0.25, power=0.25)
    assert weigh(hot, regraded(cool, hot.grade_at(0.25)), Wish()).worth


def test_brightness_and_power_are_judged_by_what_they_want(step):
    brighter = changed(step, mean=1.2)
    assert weigh(step, brighter, Wish(first="brightness")).worth
    assert not weigh(step, brighter, Wish()).worth
    saving = changed(step, mean=0.4, power=0.4)
    assert weigh(step, saving, Wish(first="power")).worth
    assert not weigh(step, changed(step, power=1.2), Wish(first="power")).worth


def test_what_the_battery_no_longer_runs_is_not_worth_it(step):
    why = "3 x AAA cannot run this prop: 900 mA on average, its limit 500 mA."
    better = changed(step, off_log=0.5, not_carried=why)
    weighed = weigh(step, better, Wish())
    assert not weighed.worth
    assert why in weighed.sentences[0]
    assert weigh(replace(step, not_carried=why), better, Wish()).worth


def test_a_new_leak_is_not_worth_it(step):
    leak = replace(step.findings.found[0], kind="light leak")
    leaking = changed(step, off_log=0.5)
    leaking = replace(leaking, findings=replace(leaking.findings, found=(leak,)))
    clean = replace(step, findings=replace(step.findings, found=()))
    assert not weigh(clean, leaking, Wish()).worth
    assert weigh(leaking, clean, Wish()).worth
