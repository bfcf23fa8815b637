"""From steps to a recommendation: the least value that is even enough, confirmed by a solve."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from glowsim.decisions.heat import PowerLimit
from glowsim.decisions.objective import Wish
from glowsim.decisions.step import Step
from glowsim.decisions.vary import Variation
from glowsim.decisions.words import capital, share
from glowsim.decisions.worth import (
    LEAST_GAIN,
    NO_GAIN,
    Verdict,
    as_good_as_best,
    change,
    clearly_better,
    figures,
    wanted,
    weigh,
)
from glowsim.electrics.heat import NEAR_LIMIT
from glowsim.geometry.mesh import FloatArray

AGREES = 0.02
"""Predicted and confirmed evenness may differ by this share."""
MOST_TRIES = 5
GRAINS = 40
"""A recommendation is rounded up to a round step of at most this part of the range."""


@dataclass(frozen=True)
class Advice:
    """What is recommended for one material.

    step      : solved at the recommended value
    meets     : whether it is even enough by the scene's evenness target
    worth     : whether it is clearly better than the body as drawn, or clearly thinner and even
                enough; otherwise the body is to be left as it is
    predicted : evenness (its worse end) expected there from the steps beside it; None where it is
                a step of the sweep itself
    edge      : 'thin' or 'thick' where the value is an end of the range, so that going on that
                way may do better; otherwise empty
    edit      : what to write into the scene file
    sentences : the recommendation in plain words, what matters most first
    reference : the same value by the reference solver, where it was asked
    """

    material: str
    step: Step
    meets: bool
    worth: bool
    predicted: float | None
    edge: str
    edit: str
    sentences: tuple[str, ...]
    reference: Step | None = None

    def also(self, *sentences: str) -> Advice:
        """Return the advice with more to say."""
        return replace(self, sentences=(*self.sentences, *sentences))

    def beside(self, reference: Step) -> Advice:
        """Return the advice with what the reference solver says of the same value."""
        more = _by_reference(self.step, reference)
        return replace(self.also(*more), reference=reference)

    @property
    def text(self) -> str:
        """The recommendation as one text."""
        return " ".join(self.sentences)

    @property
    def value_mm(self) -> float:
        """The recommended value."""
        return self.step.value

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "material": self.material,
            "value_mm": self.value_mm,
            "meets_target": self.meets,
            "worth_it": self.worth,
            "predicted_worse_end": None if self.predicted is None else round(self.predicted, 5),
            "confirmed_worse_end": round(self.step.worse_end, 5),
            "at_the_end": self.edge,
            "edit": self.edit,
            "text": self.text,
            "step": self.step.as_json(),
            "reference": self.reference.as_json() if self.reference else None,
            **_warmest(self.step.heat),
        }


def advise(
    variation: Variation, steps: Sequence[Step], before: Step, solve: Callable[[float], Step]
) -> Advice:
    """Return the recommendation that follows from the steps of one material, thin to thick.

    before : the body as drawn;  solve : solves and judges one more value
    """
    target = variation.scene_file.scene.findings.evenness_target
    enough = [step.enough for step in steps]
    meets = any(enough)
    predicted = None
    if meets:
        first = enough.index(True)
        step = steps[first]
        if first > 0:
            step, predicted = _between(steps, first, target, solve)
    else:
        # Of those that are as even as the best the brightest: not dimmer for next to nothing.
        some = [step for step in steps if clearly_better(step, before)] or steps
        step = max(as_good_as_best(some), key=lambda step: step.evenness.mean_cd_m2)
    edge = ""
    if step is steps[0]:
        edge = "thin"
    elif step is steps[-1] and not meets:
        edge = "thick"
    # A thinner one that is even enough spares material and room, if by more than a little.
    spares = meets and step.value < (1 - LEAST_GAIN) * before.value
    verdict = weigh(before, step, Wish(), spares)
    worth = verdict.worth
    sentences = tuple(_sentences(variation, step, before, (meets, verdict), predicted, edge))
    edit = variation.edit(step.value) if worth else "leave it as it is"
    return Advice(step.material, step, meets, worth, predicted, edge, edit, sentences)


def grain_mm(span_mm: float) -> float:
    """Return the round step that values within a span are rounded to: 1, 2 or 5 times a power of
    ten, at most a fortieth of it."""
    power = 10.0 ** np.floor(np.log10(span_mm / GRAINS))
    return float(max(k for k in (1, 2, 5) if k * power <= span_mm / GRAINS * (1 + 1e-9)) * power)


def _between(
    steps: Sequence[Step], first: int, target: float, solve: Callable[[float], Step]
) -> tuple[Step, float | None]:
    """Return the least round value that meets the target, solved, and what was expected there.

    The target is crossed between step `first - 1` and `first`. What is expected comes from a
    curve through all steps that does not overshoot; each value tried is solved and joins them.
    """
    known = {step.value: step for step in steps}
    low, high = steps[first - 1].value, steps[first].value
    expected: dict[float, float] = {}
    grain = grain_mm(steps[-1].value - steps[0].value)
    for _ in range(MOST_TRIES):
        places = np.array(sorted(known))
        curve = PchipInterpolator(places, [known[x].worse_end for x in places])
        tries = _round_values(low, high, grain)
        enough = tries[curve(tries) >= target]
        if len(enough) == 0:
            break
        value = float(enough[0])
        expected[value] = float(curve(value))
        known[value] = solve(value)
        if known[value].worse_end < target:
            low = value
            continue
        high = value
        if abs(expected[value] - known[value].worse_end) <= AGREES * known[value].worse_end:
            break
    return known[high], expected.get(high)


def _round_values(low: float, high: float, grain: float) -> FloatArray:
    """Return the multiples of `grain` strictly between two values, without float dust."""
    counts = np.arange(np.floor(low / grain) + 1, np.ceil(high / grain))
    values = np.array([float(f"{count * grain:.6g}") for count in counts])
    return values[(values > low + 1e-6) & (values < high - 1e-6)]


def _sentences(
    variation: Variation,
    step: Step,
    before: Step,
    verdicts: tuple[bool, Verdict],
    predicted: float | None,
    edge: str,
) -> list[str]:
    """Return the recommendation; verdicts : whether it is even enough, and worth it."""
    meets, worth = verdicts[0], verdicts[1].worth
    what = variation.said(step.value)
    said = []
    if meets:
        said.append(
            f"{step.material}: {what} is the least that is even enough: {figures(step)}: "
            f"{step.grade}; {wanted(step)} are wanted"
            + (
                "."
                if predicted is None
                else f" (its worse end expected {predicted:.3f}, solved {step.worse_end:.3f})."
            )
        )
        if edge == "thin":
            said.append("It is the thinnest that was tried; thinner may do too.")
    else:
        none = "" if worth else ", and none is worth it"
        said.append(
            f"{step.material}: no value tried is even enough{none}: the best is {what}: "
            f"{figures(step)}, where {wanted(step)} are wanted."
        )
        said += _what_it_lacks(step, edge)
    said.append(f"Compared with now: {change(step, before)}.")
    if not worth:
        lost = capital("; ".join(verdicts[1].losses))
        said.append(f"{lost or NO_GAIN}: leave it as it is.")
    said.append(
        f"There it averages {step.evenness.mean_cd_m2:.3g} cd/m2 and lets "
        f"{100 * step.escape_fraction:.0f} % of its light out: {_reads(step.lit.grade)}."
    )
    said += _heat(step)
    return said + step.trust_words("make a test piece before you commit, or solve with --sure")


def _what_it_lacks(step: Step, edge: str) -> list[str]:
    said = []
    if edge:
        said.append(f"That is the {edge} end of the range: going on that way may do better.")
    if step.findings.found:
        worst = step.findings.found[0]
        said.append(
            f"What it lacks: a {worst.kind} of {worst.ratio_to_mean:.2g} times the mean stays at "
            f"height {round(worst.from_mm)} to {round(worst.to_mm)} mm; `glowsim glow` tries what "
            "would mend it."
        )
    low, high = step.darkest_mm
    if not any(finding.kind == "dark gap" for finding in step.findings.found):
        said.append(
            f"The darkest twentieth of its surface lies between {low:.0f} and {high:.0f} mm of its "
            "height: it takes more light there, from a light nearer to it or one more."
        )
    return said


def _heat(step: Step) -> list[str]:
    """Say what heat allows there, and when heat, not optics, is what limits the glow."""
    heat = step.heat
    if heat is None:
        return []
    allowed = f"{heat.light} draws {heat.power_w:.2g} W and may draw {heat.limit_w:.2g} W there"
    said = f"Heat: {allowed}."
    if heat.heat_factor <= 0:
        said = (
            f"Heat limits this glow: {heat.light} draws more than the {heat.limit_w:.2g} W it may "
            "have even while dark; take a board with fewer LEDs, or cut its power between uses."
        )
    elif heat.exceeded:
        said = (
            f"Heat, not optics, limits this glow: {allowed}. Turned down to "
            f"{100 * heat.heat_factor:.0f} % of its drive it averages "
            f"{step.mean_at_cd_m2(heat.heat_factor):.3g} cd/m2: "
            f"{_reads(step.grade_at(heat.heat_factor))}. The evenness stays as it is."
        )
    elif step.lit.ratio < step.findings.limits.glow_ratio:
        most = f"turned up {heat.factor:.2g} times"
        reason = (
            f"more than that is too hot there ({heat.limit_w:.2g} W): heat, not optics, is the "
            "limit"
            if heat.binds
            else "that is full drive"
        )
        said = (
            f"It does not look lit as driven; {most} it averages "
            f"{step.mean_at_cd_m2(heat.factor):.3g} cd/m2 "
            f"({_reads(step.grade_at(heat.factor))}), and {reason}."
        )
    elif heat.power_w * NEAR_LIMIT > heat.limit_w:
        said = f"Heat: {allowed}: near the limit, so measure, and leave a margin."
    return [said, heat.source]


def _warmest(heat: PowerLimit | None) -> dict[str, Any]:
    """Return how warm the board with the least heat to spare gets and what it may draw, as plain
    data; nothing where that could not be worked out."""
    if heat is None or heat.board_c is None:
        return dict.fromkeys(("warmest_board", "warmest_board_c", "warmest_board_bears_w"))
    bears_w = round(float(heat.limit_w), 4) if np.isfinite(heat.limit_w) else None
    return {
        "warmest_board": heat.light,
        "warmest_board_c": round(heat.board_c, 1),
        "warmest_board_bears_w": bears_w,
    }


def _by_reference(quick: Step, reference: Step) -> list[str]:
    """Say how far quick was from the reference solver, and what that means for the target."""
    found = reference.evenness
    noise = (found.noise or {}).get("p5_over_mean", 0.0)
    said = [
        f"The reference solver gives 5%/mean {share(found.p5_over_mean)} ± {noise:.2g} there "
        f"(quick {share(quick.even)}) and a mean of {found.mean_cd_m2:.3g} cd/m2 (quick "
        f"{quick.evenness.mean_cd_m2:.3g})."
    ]
    if "p5_over_mean" in found.shifted:
        said.append("Its noise still shifts that evenness: give it more --time to be sure.")
    elif reference.enough != quick.enough:
        verdict = "is" if reference.enough else "is not"
        said.append(f"By it the body {verdict} even enough there: trust it rather than quick.")
    return said


def _reads(grade: str) -> str:
    """Return a grade as the end of a sentence: 'it glows', 'it looks tinted', 'it is bright'."""
    verb = {"tinted": "looks ", "bright": "is "}.get(grade, "")
    return f"it {verb}{grade}"
