"""`glowsim trace`: a board stays dark, and why."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console

from glowsim.catalogue.cautions import caution
from glowsim.cli.common import (
    console,
    json_option,
    print_json,
    print_title,
    scene_argument,
    verbose_option,
)
from glowsim.electrics.loads import told_together
from glowsim.electrics.power import Electrics
from glowsim.electrics.trace import (
    Cause,
    Trace,
    counted_leds,
    first_test,
    named_symptoms,
    trace,
    trace_json,
)
from glowsim.electrics.trace_graph import KINDS, Graph, Symptoms
from glowsim.scene import read_scene

SHOWN, SHOWN_SUSPECTS = 3, 4
"""Causes, and suspects of each, that are printed without --verbose."""


@click.command(
    name="trace",
    epilog='Examples:\n\n  glowsim trace scenes/thistle_staff.toml --dark "spike 7: board" '
    '--dark "spike 8" --dark "spike 9"\n\n'
    '  glowsim trace my_prop.toml --wrong-colour "spike 3"\n\n'
    '  glowsim trace my_prop.toml --half-dark "spike 3=4" --dark "spike 4"   (its first 4 LEDs '
    "are right)\n\n"
    "A board is named as `glowsim power` names it; the name of a copy, a body or a zone means all "
    "its boards. Name every board that is not right: the pattern of them is the clue.",
)
@scene_argument
@click.option("--dark", multiple=True, metavar="BOARD", help="Stays dark.")
@click.option("--wrong-colour", multiple=True, metavar="BOARD", help="Lit in a wrong colour.")
@click.option("--flicker", multiple=True, metavar="BOARD", help="Flickers.")
@click.option("--frozen", multiple=True, metavar="BOARD", help="Lit, but does not follow.")
@click.option(
    "--half-dark",
    multiple=True,
    metavar="BOARD[=N]",
    help="Its first LEDs are right, the others dark or wrong; N: how many are right.",
)
@click.option("--no-red", multiple=True, metavar="BOARD", help="Red is gone, the rest is right.")
@click.option("--no-green", multiple=True, metavar="BOARD", help="Green is gone.")
@click.option("--no-blue", multiple=True, metavar="BOARD", help="Blue is gone.")
@json_option
@verbose_option
def command(
    scene: Path,
    dark: tuple[str, ...],
    wrong_colour: tuple[str, ...],
    flicker: tuple[str, ...],
    frozen: tuple[str, ...],
    half_dark: tuple[str, ...],
    no_red: tuple[str, ...],
    no_green: tuple[str, ...],
    no_blue: tuple[str, ...],
    as_json: bool,
    verbose: bool,
) -> None:
    """Say what may be broken in the wiring of SCENE when some of its boards are not right.

    The likeliest first, each with where to measure and what to read there, from the scene's own
    battery, wires and pins.
    """
    gone = (no_red, no_green, no_blue)
    if not any((dark, wrong_colour, flicker, frozen, half_dark, *gone)):
        raise click.UsageError(
            'say which boards are not right, such as --dark "spike 3: board"; `glowsim power` '
            "lists their names"
        )
    electrics = Electrics(read_scene(scene))
    partly, lit_first, behind = counted_leds(electrics, half_dark)
    graph = Graph(electrics, lit_first)
    seen = named_symptoms(
        electrics, ((*dark, *behind), wrong_colour, flicker, frozen, partly, *gone)
    )
    found = trace(graph, seen)
    if as_json:
        print_json({"title": electrics.plan.title, **trace_json(graph, found)})
        return
    _print(console(), graph, found, verbose)


def _print(screen: Console, graph: Graph, found: Trace, verbose: bool) -> None:
    print_title(screen, graph.electrics.plan.title, f": {_seen(graph, found.seen)}")
    if graph.electrics.harness is None:
        screen.print("note: the scene has no [wiring]: only battery, pins and boards can be told")
    if found.faults == 2:
        screen.print("No single fault explains just these boards. Two that do, together:")
    elif found.faults == 0:
        screen.print(
            "Not even two faults explain just these boards: look again which are not right, or "
            "mend one fault at a time. Each of these explains a part:"
        )
    if test := first_test(graph, found):
        screen.print(test)
    most = len(found.causes) if verbose else SHOWN
    for k, (row, share) in enumerate(zip(found.causes, found.shares, strict=True), start=1):
        if k > most:
            screen.print(f"and {len(found.causes) - most} less likely; --verbose shows all")
            break
        for cause in row:
            _cause(screen, f"{k}. ({100 * share:.0f} %)", cause, verbose)
    screen.print(f"caution: {caution('polarity')}")


def _seen(graph: Graph, seen: Symptoms) -> str:
    parts = []
    for kind, numbers in zip(KINDS, seen.by_kind, strict=True):
        names = told_together(numbers, graph.boards)
        if names:
            shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if names[6:] else "")
            parts.append(f"{kind}: {shown}")
    return "; ".join(parts)


def _cause(screen: Console, mark: str, cause: Cause, verbose: bool) -> None:
    screen.print(f"\n{mark} {cause.where}")
    for suspect in cause.suspects[: None if verbose else SHOWN_SUSPECTS]:
        screen.print(f"   - {suspect.what}. {suspect.test}")
