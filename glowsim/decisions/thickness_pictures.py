"""A thickness sweep as a chart and as a sheet of pictures at one exposure."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from PIL import Image

from glowsim.decisions.step import Step
from glowsim.decisions.thickness import Report, Thickness
from glowsim.decisions.words import sentence
from glowsim.decisions.worth import figures
from glowsim.findings.unevenness import off_of_ripple
from glowsim.pictures import Line, Panel, Studio, chart, compared

MOST_PICTURES = 12
"""Pictures of one material on a sheet; of more steps some are left out, never an end."""


def thickness_chart(answer: Thickness) -> Image.Image:
    """Return evenness, luminance, light let out, weight, and spots over the varied quantity."""
    limits = answer.limits
    some_lit = answer.steps[0].lit

    def lines(figure: Callable[[Step], float | None], dashed: bool = False) -> list[Line]:
        drawn = []
        for series, material in enumerate(answer.materials):
            known = [(s.value, y) for s in answer.of(material) if (y := figure(s)) is not None]
            x, values = [p for p, _ in known], [q for _, q in known]
            drawn.append(Line(x, values, material, series, dashed))
        return drawn

    def panel(
        title: str,
        figure: Callable[[Step], float | None],
        level: tuple[float, str] | None = None,
        dashed: Callable[[Step], float] | None = None,
        log: bool = False,
    ) -> Panel:
        drawn = lines(figure) + (lines(dashed, dashed=True) if dashed else [])
        rings = [(a.value_mm, y) for a in answer.advice if (y := figure(a.step)) is not None]
        return Panel(title, drawn, [level] if level else (), rings, log=log)

    most_off = off_of_ripple(limits.evenness_target)
    panels = [
        panel(
            "Off by a factor of (1 is even)",
            lambda s: s.evenness.off_by,
            (most_off, f"even enough: {most_off:.2f}"),
        ),
        panel(
            "Evenness: 5%/mean, dashed least/mean (U0)",
            lambda s: s.even,
            (limits.evenness_target, f"even enough: {limits.evenness_target:g}"),
            lambda s: s.evenness.u0,
        ),
        panel(
            "Luminance, cd/m²: mean, dashed least",
            lambda s: s.evenness.mean_cd_m2,
            (some_lit.needed_cd_m2, "glow + room light looks lit"),
            lambda s: s.evenness.least_cd_m2,
            log=True,
        ),
        panel("Light that gets out, %", lambda s: 100 * s.escape_fraction),
        panel("Weight of material, g", lambda s: s.weight_g),
        Panel(
            "Hot spots, dashed dark gaps",
            lines(lambda s: s.hot_spots) + lines(lambda s: s.dark_gaps, dashed=True),
            whole=True,
        ),
    ]
    drawn = [panel for panel in panels if any(len(line.x) for line in panel.lines)]
    scene = answer.variation.scene_file.scene
    return chart(
        drawn,
        f"{answer.variation.quantity}, mm",
        title=f"{scene.title or answer.body}: {answer.body}",
        note=f"Varied: {answer.variation.varied}. Rings: recommended, or the best of those tried."
        + sentence(answer.steps[0].findings.supply),
    )


def thickness_sheet(
    answer: Thickness,
    size: tuple[int, int],
    backend: str = "auto",
    report: Report = lambda doing, done, total: None,
) -> Image.Image:
    """Return pictures of the steps and of what is recommended, a material after the other."""
    shown: list[Step] = []
    labels: list[str] = []
    for material, advice in zip(answer.materials, answer.advice, strict=True):
        steps = {step.value: step for step in (*_some(answer.of(material)), advice.step)}
        for value in sorted(steps):
            shown.append(steps[value])
            chosen = " (recommended)" if advice.worth else " (best, no clear gain)"
            whose = material if len(answer.materials) > 1 else answer.variation.quantity
            labels.append(
                f"{whose} {value:g} mm, {figures(steps[value])}"
                + (chosen if value == advice.value_mm else "")
            )
    # Of what is varied the greatest value makes the largest prop, if they differ in size.
    largest = max(shown, key=lambda step: step.value)
    camera = Studio(largest.glow, largest.scene_file.scene, backend).camera(size)

    def studios() -> Iterator[Studio]:
        for done, step in enumerate(shown):
            report("drawing", done, len(shown))
            yield Studio(step.glow, step.scene_file.scene, backend)

    return compared(studios(), labels, size, camera=camera)


def _some(steps: tuple[Step, ...]) -> list[Step]:
    count = min(len(steps), MOST_PICTURES)
    return [steps[round(k * (len(steps) - 1) / (count - 1))] for k in range(count)]
