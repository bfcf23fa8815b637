"""Is a variant worth it? It must be clearly better than what it takes the place of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.decisions.step import Step
from glowsim.findings.unevenness import GRADES, MEANS, off_of_ripple

LEAST_GAIN = 0.1
"""A variant is clearly better that is off by a tenth less, on a logarithmic scale, or as even and
brighter by a tenth. Less is within what materials and LEDs differ by (common practice, no
source). One that stays patchy must not grow dimmer by a larger factor than it grows evener."""

NO_GAIN = (
    "That is no clear gain (it must be off by a tenth less at least, and while patchy not lose "
    "more of its brightness than it gains)"
)


def off_log(step: Step) -> float:
    """Return how far a step is off an even glow, 0 for even, as the gain counts it."""
    return float(np.log(step.evenness.off_by))


def evener(new: Step, old: Step) -> bool:
    """Whether one step is clearly more even than another, both ends counted."""
    rank, before = (GRADES.index(step.grade) for step in (new, old))
    return rank > before if rank != before else off_log(new) <= (1 - LEAST_GAIN) * off_log(old)


def clearly_better(new: Step, old: Step) -> bool:
    """Whether one step is better than another by enough to be worth the work."""
    rank, before = (GRADES.index(step.grade) for step in (new, old))
    if rank != before:
        return rank > before
    brighter = new.evenness.mean_cd_m2 / max(old.evenness.mean_cd_m2, 1e-300)
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
    even = "below 0.01" if step.even < 0.005 else f"{step.even:.2f}"
    return f"5%/mean {even}, off by x {step.evenness.off_by:.3g}"


def wanted(step: Step) -> str:
    """Return the figures that are enough: '5%/mean 0.5 and off by x 1.45'."""
    target = step.findings.limits.evenness_target
    return f"5%/mean {target:g} and off by at most x {off_of_ripple(target):.2f}"


def verdict(step: Step) -> str:
    """Return the grade of a step and what it means, or what it lacks."""
    if step.enough:
        return f"{step.grade}, it {MEANS[step.grade]}"
    return f"{step.grade}, it {MEANS[step.grade]}; {wanted(step)} are wanted"


def change(new: Step, old: Step) -> str:
    """Say what a variant does to evenness and brightness of what it takes the place of."""
    return (
        f"off by x {old.evenness.off_by:.3g} as drawn, x {new.evenness.off_by:.3g} then; "
        f"{old.evenness.mean_cd_m2:.3g} cd/m2 as drawn, {new.evenness.mean_cd_m2:.3g} then"
    )
