"""Counts of boards as a chart and as a sheet of pictures at one exposure."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PIL import Image

from glowsim.decisions.modules import Modules
from glowsim.decisions.modules_count import Count
from glowsim.decisions.words import sentence
from glowsim.decisions.worth import figures
from glowsim.findings.unevenness import off_of_ripple
from glowsim.pictures import Line, Panel, Studio, chart, compared

MOST_PICTURES = 12


def modules_chart(answer: Modules) -> Image.Image:
    """Return evenness, luminance, power and solder joints over the number of boards."""

    def lines(figure: Callable[[Count], float], dashed: bool = False) -> list[Line]:
        drawn = []
        for series, board in enumerate(answer.boards):
            mine = answer.of(board)
            x, y = [float(c.count) for c in mine], [figure(c) for c in mine]
            drawn.append(Line(x, y, board, series, dashed))
        return drawn

    def panel(
        title: str, figure: Callable[[Count], float], levels: Sequence[tuple[float, str]] = ()
    ) -> Panel:
        ring = (float(answer.shown.count), figure(answer.shown))
        return Panel(title, lines(figure), levels, [ring])

    bounds = [(b.percent, f"bound, {name}") for name, b in answer.bounds.items()]
    levels = [(answer.target, f"even enough: {answer.target:g}"), *bounds]
    most_off = off_of_ripple(answer.target)
    enough = [(most_off, f"even enough: {most_off:.2f}")]
    panels = [
        panel("Off by a factor of (1 is even)", lambda c: c.step.evenness.off_by, enough),
        panel("Evenness: 5%/mean", lambda c: c.step.even, levels),
        panel("Mean luminance, cd/m²", lambda c: c.step.evenness.mean_cd_m2),
        panel("Power as driven, W", lambda c: c.power_w),
        Panel(
            "Hot spots, dashed dark gaps",
            lines(lambda c: c.step.hot_spots) + lines(lambda c: c.step.dark_gaps, dashed=True),
            whole=True,
        ),
        Panel("Solder joints", lines(lambda c: c.joints), whole=True),
    ]
    title = answer.plan.scene_file.scene.title or answer.body.name
    ring = "recommended" if answer.advised else "the best of those tried"
    return chart(
        panels,
        "boards",
        title=f"{title}: {answer.body.name}",
        note=f"{_how(answer)} Ring: {ring}.{sentence(answer.before.findings.supply)}",
    )


def _how(answer: Modules) -> str:
    """Say where each number of boards stands."""
    if not answer.bounds:
        return "Each number spread evenly along its path."
    return (
        "Each number at the best places found. Bound: what no number of these boards in the "
        "allowed space can beat."
    )


def modules_sheet(answer: Modules, size: tuple[int, int], backend: str = "auto") -> Image.Image:
    """Return pictures of the scene as it is and of every count, at one exposure."""
    shown = answer.counts[: MOST_PICTURES - 1]
    steps = [answer.before, *(count.step for count in shown)]
    labels = [f"as it is: {figures(answer.before)}"]
    for count in shown:
        mark = "  <- this" if count is answer.advised else ""
        labels.append(f"{count.count} x {count.board}: {figures(count.step)}{mark}")
    studios = [Studio(step.glow, step.scene_file.scene, backend) for step in steps]
    return compared(studios, labels, size)
