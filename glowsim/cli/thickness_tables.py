"""A thickness sweep as a table for a terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from glowsim.cli.common import table_of
from glowsim.decisions.advice import share
from glowsim.decisions.step import Step
from glowsim.decisions.thickness import Thickness


def print_thickness(screen: Console, answer: Thickness, verbose: bool) -> None:
    """Print what is varied, every step, what is recommended, and how far to trust it."""
    variation = answer.variation
    screen.print(f"[bold]{variation.scene_file.scene.title or answer.body}[/bold]: how thick?")
    screen.print(f"Varied: {variation.varied}.", markup=False)
    if variation.vary in ("around", "size") and variation.body.patterns:
        screen.print("Whether its copies still have room beside each other is not looked at.")
    if variation.vary != "around":
        screen.print(f"'{answer.body}' as drawn: {variation.now_mm:g} mm.", markup=False)
    for material in answer.materials:
        screen.print(_table(answer, material))
    for advice in answer.advice:
        screen.print(advice.sentences[0], markup=False)
        for sentence in (*advice.sentences[1:], f"To build it: {advice.edit}"):
            screen.print(f"  - {sentence}", markup=False)
    if len(answer.advice) > 1:
        screen.print(_compared(answer), markup=False)
    _print_trust(screen, answer, verbose)
    screen.print(
        "Brightness depends on LED bins and on estimated materials: trust it to a third either "
        "way, and evenness and ratios better than that."
    )


def _table(answer: Thickness, material: str) -> Table:
    chosen = next(advice for advice in answer.advice if advice.material == material)
    rows = {step.value_mm: step for step in (*answer.of(material), chosen.step)}
    moves = len({round(step.led_depth_mm, 1) for step in rows.values()}) > 1
    table = table_of(
        f"{material} (luminance in cd/m2)",
        (),
        (
            *(f"{answer.variation.quantity} mm", "5%/mean", "U0", "mean", "least", "let out"),
            *("hot", "dark", "reads as", "grams", "watts"),
            *(("LED mm",) if moves else ()),
            "quick",
        ),
    )
    for column in table.columns:
        column.no_wrap = True
    for value in sorted(rows):
        table.add_row(*_cells(rows[value], value == chosen.value_mm, moves))
    limits = answer.limits
    table.caption = (
        f"-> {'least that is even enough' if chosen.meets else 'most even, but not enough'}: "
        f"5%/mean {limits.evenness_target:g} is wanted.  hot, dark: spots that stand out.  "
        + ("LED: below the surface.  " if moves else "")
        + f"watts: of the hottest board, ! above the {limits.buried_power_w:g} W it bears buried.  "
        "quick: whether that solver holds or is a rough guide"
    )
    return table


def _cells(step: Step, chosen: bool, with_depth: bool) -> list[str]:
    figures = step.evenness
    heat = step.heat
    return [
        f"{'-> ' if chosen else ''}{step.value_mm:g}",
        share(figures.p5_over_mean),
        share(figures.u0),
        _short(figures.mean_cd_m2),
        _short(figures.least_cd_m2),
        f"{100 * step.let_out:.0f} %",
        str(step.hot_spots),
        str(step.dark_gaps),
        step.lit.grade,
        "?" if step.weight_g is None else f"{step.weight_g:.3g}",
        "off" if heat is None else f"{heat.power_w:.2g}{' !' if heat.exceeded else ''}",
        *([f"{step.led_depth_mm:.1f}"] if with_depth else []),
        "rough" if step.trust else "holds",
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
    return "<0.01" if value < 0.005 else f"{value:.3g}" if value < 1000 else f"{value:.0f}"
