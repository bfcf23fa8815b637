"""A thickness sweep as a table for a terminal."""

from __future__ import annotations

from collections.abc import Callable

from rich.console import Console

from glowsim.catalogue.cautions import caution
from glowsim.cli.common import (
    print_each,
    print_title,
    table_of,
    titled,
)
from glowsim.cli.figure_table import FigureTable
from glowsim.cli.step_columns import KEY, STEP_COLUMNS, watts
from glowsim.decisions.advice import Advice
from glowsim.decisions.step import Step
from glowsim.decisions.thickness import Thickness
from glowsim.decisions.worth import figures, off_log, wanted


def print_thickness(screen: Console, answer: Thickness, verbose: bool) -> None:
    """Print what is varied, every step, what is recommended, and how far to trust it."""
    variation = answer.variation
    print_title(screen, variation.scene_file.scene.title or answer.body, ": how thick?")
    screen.print(f"Varied: {variation.varied}.")
    if variation.vary in ("around", "size") and variation.body.patterns:
        screen.print("Whether its copies still have room beside each other is not looked at.")
    now, before = "" if variation.vary == "around" else f" {variation.now_mm:g} mm,", answer.before
    screen.print(
        f"'{answer.body}' as it is:{now} {figures(before)} ({before.grade}), mean "
        f"{before.evenness.mean_cd_m2:.3g} cd/m2."
    )
    for advice in answer.advice:
        screen.print(_table(answer, advice))
    for advice in answer.advice:
        screen.print(advice.sentences[0])
        for sentence in (*advice.sentences[1:], f"To build it: {advice.edit}"):
            screen.print(f"  - {sentence}")
    if len(answer.advice) > 1:
        screen.print(_compared(answer))
    _print_trust(screen, answer, verbose)
    print_each(screen, "caution", _cautions(answer))
    screen.print(
        "Brightness depends on LED bins and on estimated materials: trust it to a third either "
        "way, and evenness and ratios better than that."
    )


def _cautions(answer: Thickness) -> list[str]:
    """Return what to take care of where any of the answers passes a limit."""
    found = [text for advice in answer.advice for text in advice.step.findings.cautions]
    if any(advice.step.heat and advice.step.heat.exceeded for advice in answer.advice):
        found += [caution("heat"), caution("fire")]
    return list(dict.fromkeys(found))


def _table(answer: Thickness, advice: Advice) -> FigureTable:
    """Return the figures of one material."""
    rows = {step.value: step for step in (*answer.of(advice.material), advice.step)}
    moves = _moves(tuple(rows.values()))
    columns = {name: cell for name, cell in _COLUMNS.items() if moves or name != "LED mm"}
    title = titled(f"{advice.material} (luminance in cd/m2)", advice.step.findings.supply)
    table = table_of(title, (), (f"{answer.variation.quantity} mm", *columns))
    for value, step in sorted(rows.items()):
        mark = "-> " if advice.worth and value == advice.value_mm else ""
        table.add_row(f"{mark}{value:g}", *(cell(step) for cell in columns.values()))
    table.caption = _explained(answer, advice)
    return table


def _explained(answer: Thickness, advice: Advice) -> str:
    """Return what the marks and columns of a table mean."""
    moves = _moves((*answer.of(advice.material), advice.step))
    arrow = "least that is even enough" if advice.meets else "best, but not even enough"
    return (
        (f"-> {arrow}: " if advice.worth else "no ->, none is worth it: ")
        + f"{wanted(advice.step)} are wanted.  {KEY}.  "
        + ("LED: below the surface.  " if moves else "")
        + "watts: of the hottest board, on average over the pulses, ! above what heat allows "
        "there.  quick: whether that solver holds or is a rough guide"
    )


def _moves(steps: tuple[Step, ...]) -> bool:
    """Whether the depth of the lights changes from step to step."""
    return len({round(step.led_depth_mm, 1) for step in steps}) > 1


_COLUMNS: dict[str, Callable[[Step], str]] = {
    **STEP_COLUMNS,
    "light out": lambda step: f"{100 * step.escape_fraction:.0f} %",
    "grams": lambda step: "?" if step.weight_g is None else f"{step.weight_g:.3g}",
    "watts": watts,
    "LED mm": lambda step: f"{step.led_depth_mm:.1f}",
    "quick": lambda step: _quick_is(step),
}


def _quick_is(step: Step) -> str:
    """Return how far quick holds at a step, or that the reference solver has solved it."""
    if step.by_reference:
        return "reference"
    return "rough" if step.trust else "holds"


def _compared(answer: Thickness) -> str:
    """Return one sentence on the materials side by side."""
    enough = [advice for advice in answer.advice if advice.meets]
    if not enough:
        best = min(answer.advice, key=lambda advice: off_log(advice.step))
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


def _sure_words(steps: list[Step]) -> str:
    """Return which steps the reference solver has solved, and how well it knows them."""
    noise = max((max(step.findings.noise.values(), default=0.0) for step in steps), default=0.0)
    return (
        f"solved by the reference at {', '.join(f'{step.value:g}' for step in steps)} mm, since "
        f"quick is a rough guide there; single bright faces are known to {100 * noise:.2g} %"
    )


def _print_trust(screen: Console, answer: Thickness, verbose: bool) -> None:
    """Say at which steps the quick solver is a rough guide, and why."""
    for material in answer.materials:
        steps = answer.of(material)
        sure = [step for step in steps if step.by_reference]
        if sure:
            screen.print(f"trust: {material}: {_sure_words(sure)}")
        rough = [step for step in steps if step.trust and not step.by_reference]
        if len(sure) == len(steps):
            continue
        if not rough:
            screen.print(
                f"trust: {material}: every {'other ' if sure else ''}step well inside what the "
                "quick solver holds for"
            )
            continue
        values = ", ".join(f"{step.value:g}" for step in rough)
        screen.print(f"trust: {material}: quick is a rough guide at {values} mm:")
        for step in rough if verbose else rough[:1]:
            for reason in step.trust:
                screen.print(f"  - at {step.value:g} mm: {reason}")
