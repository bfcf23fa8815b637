"""Is a change worth doing? Before and after, as solved, by what is wanted and what it costs."""

from __future__ import annotations

from dataclasses import dataclass

from glowsim.decisions.objective import Wish
from glowsim.decisions.step import Step
from glowsim.decisions.words import share
from glowsim.decisions.worth import clearly_better, evener
from glowsim.findings.lit import BRIGHTEST, GRADES

LEAST_GAIN = 0.05
"""What is wanted must gain this share of itself ..."""
LEAST_EVENER = 0.01
"""... and an evenness at least this much: less cannot be seen (common practice, no source)."""
LEAST_MEAN = 0.5
"""The mean may fall to this share of what it was, for the power drawn: the eye takes half the
luminance for a small step only (common practice, no source)."""
_ORDER = [name for _, name in GRADES] + [BRIGHTEST]
_UNLIT = ("looks painted", "tinted")
"""Grades of what does not read as lit."""
_SAME = 0.02
"""Smaller changes of the mean are not told."""
_SAME_K = 1.0
"""Smaller changes of a board's temperature are not told [K]."""


@dataclass(frozen=True)
class Verdict:
    """Whether a change is worth doing, and why in sentences."""

    worth: bool
    sentences: tuple[str, ...]


def weigh(before: Step, after: Step, wish: Wish, spares: bool = False) -> Verdict:
    """Return whether `after` is worth doing in place of `before`.

    It is where what comes first gains enough, no grade is lost, the mean keeps its share and
    nothing leaks that did not. Where heat does not bear the lights as they are, they are judged
    turned down to what it does. Evenness gains by its dark end or by both, and must not be clearly
    less by both.

    spares : it is even enough with fewer boards, which is a gain too
    """
    was, now = _figure(before, wish), _figure(after, wish)
    needed = max(was * (1 + LEAST_GAIN), was + (LEAST_EVENER if wish.first == "evenness" else 0.0))
    stray_was, stray = _leaks(before), _leaks(after)
    gains = spares or now >= needed or stray < stray_was
    less_even = False
    if wish.first == "evenness":
        gains |= clearly_better(after, before)
        less_even = not spares and clearly_better(before, after) and evener(before, after)
    losses = []
    if _loses_a_grade(before, after):
        losses.append("that loses a grade")
    if wish.first != "power" and after.evenness.mean_cd_m2 < _least_mean(before, after):
        losses.append(f"that is below {100 * LEAST_MEAN:.0f} % of the light for its power")
    if stray > stray_was:
        losses.append("light would leak where it must stay dark")
    effects = [_both_ends(before, after, less_even), *_side_effects(before, after)]
    if gains and not losses and not less_even:
        return Verdict(True, tuple(_capital(f"{effect}.") for effect in effects))
    return Verdict(False, (_leave_it(before, after, wish, needed, effects, losses),))


def _leave_it(
    before: Step, after: Step, wish: Wish, needed: float, effects: list[str], losses: list[str]
) -> str:
    """Say that a change is not worth doing, and what it would have come to."""
    if wish.first == "evenness":
        said = (
            f"the best that was found has 5%/mean {share(after.even)} where there is "
            f"{share(before.even)}"
        )
        if _figure(after, wish) < needed:
            said += f" (a gain from {max(needed, 0.01):.2f} on, or a tenth less far off)"
    else:
        said = (
            f"by what comes first, {wish.first}, the best that was found is "
            f"{_figure(after, wish) / max(_figure(before, wish), 1e-12):.2g} times as good as what "
            f"is there (a gain from {1 + LEAST_GAIN:g} on)"
        )
    return f"Leave it: not worth doing. {_capital('; '.join([said, *effects, *losses]))}."


def _both_ends(before: Step, after: Step, less_even: bool) -> str:
    """Say how far off an even glow a change leaves it, both ends counted."""
    was, now = (step.evenness.off_by for step in (before, after))
    said = f"off by x {now:.3g} where there is x {was:.3g}"
    return f"by both ends it is less even: {said}" if less_even else said


def _figure(step: Step, wish: Wish) -> float:
    """Return what is to be raised: as `Aim.score` has it, of the glow as solved."""
    target = step.findings.limits.evenness_target
    even = min(1.0, step.even / target)
    if wish.first == "evenness":
        return step.even
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


def _least_mean(before: Step, after: Step) -> float:
    """Return the mean that must be kept, for the power drawn."""
    return LEAST_MEAN * before.mean_at_cd_m2(_asked(before, after))


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
            f"it reads as {reads}"
        )
    warm, warmer = (None if step.heat is None else step.heat.board_c for step in (before, after))
    if warm is not None and warmer is not None and abs(warmer - warm) > _SAME_K:
        said.append(f"its warmest board gets {warmer:.0f} °C in place of {warm:.0f} °C")
    return said


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
