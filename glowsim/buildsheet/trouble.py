"""What to do when a board stays dark: every set of boards that one fault darkens, and where to
measure."""

from __future__ import annotations

from glowsim.buildsheet.blocks import Block, Grid, Items, Para
from glowsim.electrics.loads import in_one_piece, told_together
from glowsim.electrics.power import Electrics
from glowsim.electrics.trace import first_test, trace
from glowsim.electrics.trace_faults import faults_of
from glowsim.electrics.trace_graph import Graph, Symptoms

MOST_ROWS = 30
OTHERWISE = (
    "Far boards red or dim: the battery is nearly empty or a joint before them conducts badly; "
    "measure at both ends of each pair while everything is on.",
    "All boards of a pin flicker: common ground first, then the level of the data, then a loose "
    "joint at the pin.",
    "The first LEDs of a board right, the rest dark or wrong: the break is inside it, at the last "
    "LED that is right or the first that is not; everything after it is dark too.",
    "One colour gone: blue or green on the far boards is the battery or a joint before them; on "
    "one board that board; on a whole zone the program (its level, or the order of colours).",
    "Lit but stuck: the data have stopped while it ran; the joint before the first stuck board, or "
    "the controller's program.",
    "Anything else: `glowsim trace` with the names of all boards that are not right.",
)


def trouble(electrics: Electrics) -> tuple[Block, ...]:
    """Return the table of single faults by what they darken, and what else to look at."""
    graph = Graph(electrics)
    faults = faults_of(graph)
    dark = dict.fromkeys(
        symptoms
        for fault in faults
        if fault.family in ("power", "data")
        for symptoms, _ in fault.shows
        if symptoms == Symptoms(dark=symptoms.dark) and _by_whole_strips(graph, symptoms)
    )
    rows = []
    for seen in sorted(dark, key=lambda s: (-len(s.dark), min(s.dark))):
        found = trace(graph, seen, faults)
        wheres = [cause.where for (cause,) in found.causes[:2]]
        numbered = "\n".join(f"{k}. {where}" for k, where in enumerate(wheres, start=1))
        reading = first_test(graph, found) or found.causes[0][0].suspects[0].test
        rows.append((_names(graph, seen), numbered, reading))
    cut = len(rows) - MOST_ROWS
    blocks: list[Block] = [
        Para(
            "Look which boards are dark before you open anything: a fault darkens every board "
            "after it. Volts are those of this wiring, everything on at your settings, battery "
            f"{electrics.state_of_charge}."
        ),
        Grid(
            ("dark, and no other", "look first, then", "measure"),
            tuple(rows[:MOST_ROWS]),
            (2, 3, 4),
        ),
    ]
    if cut > 0:
        blocks.append(Para(f"{cut} more sets of boards: `glowsim trace` looks up any."))
    return (*blocks, Items(OTHERWISE))


def _by_whole_strips(graph: Graph, seen: Symptoms) -> bool:
    """Whether no strip is dark in part: of that there is a set for each of its LEDs, and one line
    below the table."""
    groups = in_one_piece(range(len(graph.boards)), graph.boards)
    return all(seen.dark.isdisjoint(group) or seen.dark.issuperset(group) for group in groups)


def _names(graph: Graph, seen: Symptoms) -> str:
    if seen.dark == graph.every_board:
        return "all"
    names = told_together(seen.dark, graph.boards)
    whole = sorted(seen.dark) == list(range(min(seen.dark), max(seen.dark) + 1))
    if whole and len(names) > 2:
        return f"{names[0]} to {names[-1]}"
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
