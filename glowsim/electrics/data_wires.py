"""The data wires from the controller to the boards, and the list of all wire to cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from glowsim.electrics.data_line import DataOutput, Row, pin_words
from glowsim.electrics.harness import ENDS_MM, POWER_CONDUCTORS, CutPiece, Harness
from glowsim.electrics.loads import LitBoard, in_one_piece
from glowsim.errors import did_you_mean
from glowsim.scene import Pin
from glowsim.transport.plan import Plan

CONTROLLER = "controller"


@dataclass(frozen=True)
class DataWire:
    """A data wire, its ends not included.

    output     : name of the pin;  start, end : names: the controller, then boards
    from_board : number of the board it comes from, None from the controller;  to_board : where to
    length_mm  : as long as the way along the supply's wires, or as the scene says
    """

    output: str
    start: str
    end: str
    from_board: int | None
    to_board: int
    length_mm: float
    gauge: str


def data_wires(
    plan: Plan,
    boards: tuple[LitBoard, ...],
    harness: Harness | None,
    outputs: Sequence[DataOutput],
) -> tuple[DataWire, ...]:
    """Return every data wire, output after output; none where the scene says nothing of wires.

    They lie beside the supply's wires. Raises SceneError where the controller sits at no point of
    the wiring.
    """
    if harness is None:
        return ()
    controller = plan.scene_file.scene.controller
    if controller.at not in harness.nodes:
        near = did_you_mean(controller.at, harness.nodes)
        raise plan.scene_file.fault(
            ("controller", "at"), f"the wiring has no point '{controller.at}'{near}"
        )
    pins = {pin.name: pin for pin in controller.pins}
    home = harness.nodes.index(controller.at)
    return tuple(
        wire
        for output in outputs
        for row in output.rows
        for wire in _of_row(boards, harness, output.name, row, home, pins.get(output.name))
    )


def _of_row(
    boards: tuple[LitBoard, ...],
    harness: Harness,
    name: str,
    row: Row,
    home: int,
    pin: Pin | None,
) -> list[DataWire]:
    node_of = harness.node_of_board(len(boards))
    wires = []
    before, at = None, home
    for number in (numbers[0] for numbers in in_one_piece(row, boards)):
        fixed = None if pin is None else pin.lead_mm if before is None else pin.step_mm
        node = node_of[number]
        length = way_mm(harness, at, node) if fixed is None else fixed
        start = f"{CONTROLLER}, {pin_words(name)}" if before is None else boards[before].whole
        gauge = harness.runs[node - 1].gauge
        wires.append(DataWire(name, start, boards[number].whole, before, number, length, gauge))
        before, at = number, node
    return wires


def way_mm(harness: Harness, one: int, other: int) -> float:
    """Return the length of the way along the wires between two nodes [mm]."""
    nodes = harness.nodes
    run_to = {run.end: run for run in harness.runs}

    def outward(node: int) -> list[str]:
        names = [nodes[node]]
        while names[-1] in run_to:
            names.append(run_to[names[-1]].start)
        return names

    a, b = outward(one), outward(other)
    shared = set(a) & set(b)
    return sum(run_to[name].length_mm for way in (a, b) for name in way if name not in shared)


def cut_list(harness: Harness | None, wires: Sequence[DataWire]) -> tuple[CutPiece, ...]:
    """Return the pieces to cut, ends included, equal ones together: the supply's pairs, a second
    feed among them, and every data wire."""
    pieces: dict[tuple[str, str, float], list[str]] = {}
    for run in harness.every_run if harness else ():
        for conductor in POWER_CONDUCTORS:
            key = (conductor, run.gauge, round(run.length_mm + ENDS_MM))
            pieces.setdefault(key, []).append(f"{run.start} to {run.end}")
    for wire in wires:
        key = ("data", wire.gauge, round(wire.length_mm + ENDS_MM))
        pieces.setdefault(key, []).append(f"{wire.start} to {wire.end}")
    return tuple(
        CutPiece(gauge, conductor, length, len(runs), tuple(runs))
        for (conductor, gauge, length), runs in pieces.items()
    )


@dataclass(frozen=True)
class CutRow:
    """One line of the cut list: pieces of one size that go the same ways."""

    gauge: str
    length_mm: float
    count: int
    conductors: tuple[str, ...]
    runs: tuple[str, ...]


def cut_rows(pieces: Sequence[CutPiece]) -> tuple[CutRow, ...]:
    """Return the cut list with conductors of one size, count and way in one line."""
    rows: dict[tuple[str, float, tuple[str, ...]], list[str]] = {}
    for piece in pieces:
        rows.setdefault((piece.gauge, piece.length_mm, piece.runs), []).append(piece.conductor)
    return tuple(
        CutRow(gauge, length, len(runs), tuple(names), runs)
        for (gauge, length, runs), names in rows.items()
    )
