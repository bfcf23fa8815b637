"""A thickness sweep as a table for a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from glowsim.cli.common import table_of
from glowsim.decisions.step import Step
from glowsim.decisions.thickness import Thickness


def print_thickness(screen: Console, answer: Thickness, verbose: bool) -> None:
    """Print what is varied, every step, what is recommended, and how far to trust it."""
    variation = answer.variation
    screen.print(f"[bold]{variation.scene_file.scene.title or answer.body}[/bold]: how thick?")
    screen.print(f"Varied: {variation.varied}.", markup=False)
    screen.print(f"'{answer.body}' as drawn: {variation.now_mm:g} mm.", markup=False)
    for material in answer.materials:
        screen.print(_table(answer, material))
    for advice in answer.advice:
        screen.print(advice.text, markup=False)
        screen.print(f"  to build it: {advice.edit}", markup=False)
    if len(answer.advice) > 1:
        screen.print(_compared(answer), markup=False)
    _print_trust(screen, answer, verbose)
    screen.print(
        "Brightness depends on LED bins and on estimated materials: trust it to a third either "
        "way, and evenness and ratios better than that."
    )


def _table(answer: Thickness, material: str) -> Table:
    quantity = answer.variation.quantity
    table = table_of(
        f"{material} (luminance in cd/m2)",
        (),
        (f"{quantity} mm", "5 %/mean", "U0", "mean", "least", "let out", "hot", "dark"),
    )
    table.add_column("reads as", overflow="fold")
    for heading in ("weight g", "LED deep mm", "board W"):
        table.add_column(heading, justify="right", overflow="fold")
    table.add_column("", overflow="fold")
    chosen = next(advice for advice in answer.advice if advice.material == material)
    rows = {step.value_mm: step for step in (*answer.of(material), chosen.step)}
    for value in sorted(rows):
        step = rows[value]
        remarks = ["rough"] if step.trust else []
        if value == chosen.value_mm:
            remarks.insert(0, "<- least enough" if chosen.meets else "<- best")
        table.add_row(*_cells(step), ", ".join(remarks))
    limits = answer.limits
    table.caption = (
        f"even enough from 5 %/mean {limits.evenness_target:g} on; hot, dark: spots that stand "
        f"out; ! = above the {limits.buried_power_w:g} W a buried board bears"
    )
    return table


def _cells(step: Step) -> list[str]:
    figures = step.evenness
    heat = step.heat
    return [
        f"{step.value_mm:g}",
        _short(figures.p5_over_mean),
        _short(figures.u0),
        _short(figures.mean_cd_m2),
        _short(figures.least_cd_m2),
        f"{100 * step.let_out:.0f} %",
        str(step.hot_spots),
        str(step.dark_gaps),
        step.lit.grade,
        "?" if step.weight_g is None else f"{step.weight_g:.3g}",
        f"{step.led_depth_mm:.1f}",
        "off" if heat is None else f"{heat.power_w:.2g}{' !' if heat.exceeded else ''}",
    ]


def _compared(answer: Thickness) -> str:
    """Return one sentence on the materials side by side."""
    enough = [advice for advice in answer.advice if advice.meets]
    if not enough:
        best = max(answer.advice, key=lambda advice: advice.step.even)
        return f"None of them is even enough; {best.material} comes nearest."
    thinnest = min(enough, key=lambda advice: advice.value_mm)
    brightest = max(enough, key=lambda advice: advice.step.evenness.mean_cd_m2)
    weighed = [advice for advice in enough if advice.step.weight_g is not None]
    lightest = min(weighed, key=lambda advice: advice.step.weight_g or 0.0, default=None)
    return (
        f"Of those that are even enough, {thinnest.material} needs the least "
        f"({thinnest.value_mm:g} mm), {brightest.material} is the brightest"
        + (f", {lightest.material} the lightest." if lightest else ".")
    )


def _print_trust(screen: Console, answer: Thickness, verbose: bool) -> None:
    """Say at which steps the quick solver is a rough guide, and why."""
    for material in answer.materials:
        steps = answer.of(material)
        rough = [step for step in steps if step.trust]
        if not rough:
            screen.print(
                f"trust: {material}: every step well inside what the quick solver holds for"
            )
            continue
        values = ", ".join(f"{step.value_mm:g}" for step in rough)
        screen.print(f"trust: {material}: quick is a rough guide at {values} mm:", markup=False)
        for step in rough if verbose else rough[:1]:
            for caution in step.trust:
                screen.print(f"  - at {step.value_mm:g} mm: {caution}", markup=False)


def _short(value: float) -> str:
    return "0" if abs(value) < 5e-4 else f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
