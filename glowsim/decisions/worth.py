"""Is a change worth it? One verdict for all commands: before and after, as solved.

What ranks is how far off an even glow a body is, both ends counted (`findings.unevenness`); what it
costs in light, heat and leaks is held against that, and told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.decisions.objective import Wish
from glowsim.decisions.step import Step
from glowsim.decisions.words import capital, share
from glowsim.findings.lit import BRIGHTEST
from glowsim.findings.lit import GRADES as LIT_GRADES
from glowsim.findings.unevenness import GRADES, MEANS, off_of_ripple

LEAST_GAIN = 0.1
"""A variant is clearly better that is off by a tenth less, on a logarithmic scale, or as even and
brighter by a tenth. Less is within what materials and LEDs differ by (common practice, no
source). One that stays patchy must not grow dimmer by a larger factor than it grows evener."""
LEAST_MORE = 0.05
"""Of brightness or of light for the power, where that comes first, so much more is a gain."""
LEAST_MEAN = 0.5
"""The mean may fall to this share of what it was, for the power drawn: the eye takes half the
luminance for a small step only (common practice, no source)."""
NOISE = 2e-3
"""A figure of evenness that is worse by this share is no worse."""
_ORDER = [name for _, name in LIT_GRADES] + [BRIGHTEST]
_UNLIT = ("looks painted", "tinted")
"""Grades of what does not read as lit."""
_SAME = 0.02
"""Smaller changes of the mean are not told."""
_SAME_K = 1.0
"""Smaller changes of a board's temperature are not told [K]."""

NO_GAIN = (
    "That is no clear gain (a tenth less uneven at least, and while it stays patchy no more "
    "brightness lost than evenness gained)"
)


def off_log(step: Step) -> float:
    """Return how far a step is off an even glow, 0 for even, as the gain counts it."""
    return float(np.log(step.evenness.off_by))


def evener(new: Step, old: Step) -> bool:
    """Whether one step is clearly more even than another, both ends counted."""
    rank, before = (GRADES.index(step.grade) for step in (new, old))
    return rank > before if rank != before else off_log(new) <= (1 - LEAST_GAIN) * off_log(old)


def clearly_better(new: Step, old: Step, power: float = 1.0) -> bool:
    """Whether one step is better than another by enough to be worth the work.

    power : what is asked of its light, as a share of the other's: fewer boards give less
    """
    rank, before = (GRADES.index(step.grade) for step in (new, old))
    if rank != before:
        return rank > before
    brighter = new.evenness.mean_cd_m2 / max(power * old.evenness.mean_cd_m2, 1e-300)
    if evener(new, old):
        return new.enough or brighter >= new.evenness.off_by / old.evenness.off_by
    as_even = off_log(new) <= (1 + LEAST_GAIN) * off_log(old)
    return new.enough and as_even and brighter >= 1 + LEAST_GAIN


def as_good_as_best(steps: Sequence[Step]) -> list[Step]:
    """Return the steps that the most even one is not clearly more even than."""
    least = min(map(off_log, steps))
    return [step for step in steps if (1 - LEAST_GAIN) * off_log(step) <= least]


def figures(step: Step) -> str:
    """Return the figures a verdict rests on: '5%/mean 0.44, off by x 1.52'."""
    return f"5%/mean {share(step.even)}, off by x {step.evenness.off_by:.3g}"


def wanted(step: Step) -> str:
    """Return the figures that are enough: '5%/mean 0.5 and off by x 1.45'."""
    target = step.findings.limits.evenness_target
    return f"5%/mean {target:g} and off by at most x {off_of_ripple(target):.2f}"


def verdict(step: Step) -> str:
    """Return the grade of a step and what it means, or what it lacks."""
    if step.enough:
        words = f"{step.grade}, it {MEANS[step.grade]}"
        if step.evenness.eye_decides(step.findings.limits):
            seen = share(step.evenness.seen_p5_over_mean)
            words += f" (as the eye averages it from where it is seen, its 5%/mean is {seen})"
        return words
    return f"{step.grade}, it {MEANS[step.grade]}; {wanted(step)} are wanted"


def change(new: Step, old: Step) -> str:
    """Say what a variant does to evenness and brightness of what it takes the place of."""
    return (
        f"off by x {old.evenness.off_by:.3g} now, x {new.evenness.off_by:.3g} then; "
        f"{old.evenness.mean_cd_m2:.3g} cd/m2 now, {new.evenness.mean_cd_m2:.3g} then"
    )


@dataclass(frozen=True)
class Verdict:
    """Whether a change is worth doing, why in sentences, and what is lost by it."""

    worth: bool
    sentences: tuple[str, ...]
    losses: tuple[str, ...] = ()


def weigh(before: Step, after: Step, wish: Wish, spares: bool = False) -> Verdict:
    """Return whether `after` is worth doing in place of `before`.

    It is where what comes first gains clearly, no grade is lost, the mean keeps its share, nothing
    leaks that did not and the battery runs it as before. What is less even is never worth doing
    for evenness, but where it mends a leak. Where heat does not bear the lights as they are, they
    are judged turned down to what it does.

    spares : it is even enough with fewer boards or less material, which is a gain too
    """
    stray_was, stray = _leaks(before), _leaks(after)
    gains = spares or stray < stray_was
    losses = []
    if wish.first == "evenness":
        gains |= clearly_better(after, before, _asked(before, after))
        less_even = after.evenness.off_by > (1 + NOISE) * before.evenness.off_by
        if less_even and not spares and stray >= stray_was:
            losses.append("dark and bright places together, that is less even")
    else:
        gains |= figure(after, wish) >= (1 + LEAST_MORE) * figure(before, wish)
    if _loses_a_grade(before, after):
        losses.append("that loses a grade")
    least_cd_m2 = LEAST_MEAN * before.mean_at_cd_m2(_asked(before, after))
    if wish.first != "power" and after.evenness.mean_cd_m2 < least_cd_m2:
        losses.append(f"that is below {100 * LEAST_MEAN:.0f} % of the light for its power")
    if stray > stray_was:
        losses.append("light would leak where it must stay dark")
    if after.not_carried and not before.not_carried:
        losses.append(after.not_carried.rstrip("."))
    effects = _side_effects(before, after)
    if gains and not losses:
        return Verdict(True, tuple(capital(f"{effect}.") for effect in effects))
    return Verdict(False, (_leave_it(before, after, wish, effects, losses),), tuple(losses))


def _leave_it(before: Step, after: Step, wish: Wish, effects: list[str], losses: list[str]) -> str:
    """Say that a change is not worth doing, and what it would have come to."""
    said = [
        f"the best that was found is off by x {after.evenness.off_by:.3g}, against x "
        f"{before.evenness.off_by:.3g} now; 5%/mean {share(after.even)}, against "
        f"{share(before.even)} now"
    ]
    if wish.first != "evenness":
        said.append(
            f"by what comes first, {wish.first}, it is "
            f"{figure(after, wish) / max(figure(before, wish), 1e-12):.2g} times as good (a gain "
            f"from {1 + LEAST_MORE:g} on)"
        )
    elif not losses:
        said[0] += " (a clear gain is a tenth less uneven)"
    return f"Leave it: not worth doing. {capital('; '.join([*said, *effects, *losses]))}."


def figure(step: Step, wish: Wish) -> float:
    """Return what is to be raised where evenness does not come first: as `Aim.score` has it, of the
    glow as solved."""
    wanted = np.log(off_of_ripple(step.findings.limits.evenness_target))
    even = min(1.0, float(wanted) / max(off_log(step), 1e-12))
    if wish.first == "brightness":
        return step.mean_at_cd_m2(_borne(step)) * even
    lit = min(1.0, step.lit.ratio / step.findings.limits.glow_ratio)
    return even * lit / max(_power_w(step), 1e-12)


def _borne(step: Step) -> float:
    """Return by how much heat has the lights of a step turned down, at most 1."""
    return 1.0 if step.heat is None else min(1.0, step.heat.heat_factor)


def _asked(before: Step, after: Step) -> float:
    """Return by how much the lights of `before` are turned down to be compared with `after`: to
    what heat bears, and to its power, for fewer or smaller boards are what was asked."""
    borne = _borne(before)
    return borne * min(1.0, _power_w(after) / max(borne * _power_w(before), 1e-12))


def _loses_a_grade(before: Step, after: Step) -> bool:
    """Return whether a body reads less lit than its power would have it, or not as lit any more."""
    asked = before.grade_at(_asked(before, after))
    was_lit = before.grade_at(_borne(before)) not in _UNLIT
    lower = _ORDER.index(after.lit.grade) < _ORDER.index(asked)
    return lower or (was_lit and after.lit.grade in _UNLIT)


def _power_w(step: Step) -> float:
    return sum(step.glow.lights[k].power_w for k in step.copies[0].lights)


def _leaks(step: Step) -> int:
    return sum(finding.kind == "light leak" for finding in step.findings.found)


def _side_effects(before: Step, after: Step) -> list[str]:
    """Say what else changes: the mean and how it reads, and how warm the warmest board gets."""
    said = []
    was, now = before.evenness.mean_cd_m2, after.evenness.mean_cd_m2
    if abs(now - was) > _SAME * was:
        grade = after.lit.grade
        same = grade == before.lit.grade
        reads = f"'{grade}' as before" if same else f"'{grade}' in place of '{before.lit.grade}'"
        said.append(
            f"its mean {'rises' if now > was else 'falls'} from {was:.3g} to {now:.3g} cd/m2 and "
            f"it looks {reads}"
        )
    warm, warmer = (None if step.heat is None else step.heat.board_c for step in (before, after))
    if warm is not None and warmer is not None and abs(warmer - warm) > _SAME_K:
        said.append(f"its warmest board gets {warmer:.0f} °C in place of {warm:.0f} °C")
    return said
