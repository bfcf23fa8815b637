"""The wiring as a drawing: supply on top, runs with length and gauge, boards at their ends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from glowsim.buildsheet.drawing import GREY, LIGHT, Drawing, Path, Round
from glowsim.electrics.harness import Harness, WireRun
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.power import WiringReport

ROW_MM = 6.5
INDENT_MM = 6.0
MOST_INDENT_MM = 45.0
WIDTH_MM = 180.0
TEXT_MM = 2.9
MOST_ROWS = 36
"""Rows of a drawing that still fits a page; longer ones are cut into several."""


def wiring_drawings(wiring: WiringReport, boards: tuple[LitBoard, ...], fuse: str) -> list[Drawing]:
    """Return the wiring as drawings of a page at most each; `fuse` is written at the fuse."""
    harness = wiring.built
    if harness.second is not None:
        end = f"power injection, to {harness.second.end}"
        harness = replace(harness, second=replace(harness.second, end=end))
    current = {
        run.end: f"at most {abs(drawn) / 1000:.2f} A in the show"
        for run, drawn in zip(harness.every_run, wiring.drawn.run_ma, strict=True)
    }
    rows = _rows(harness)
    deepest = max((level for level, _ in rows), default=1)
    indent = min(INDENT_MM, MOST_INDENT_MM / max(deepest, 1))
    pages = [rows[k : k + MOST_ROWS] for k in range(0, len(rows), MOST_ROWS)]
    return [
        _page(page, boards, current, indent, fuse if number == 0 else None)
        for number, page in enumerate(pages)
    ]


def _rows(harness: Harness) -> list[tuple[int, WireRun]]:
    """Return the runs in the order of the drawing, each with its depth below the supply."""
    ends = {run.end for run in harness.runs}
    start = next(run.start for run in harness.runs if run.start not in ends)
    rows: list[tuple[int, WireRun]] = []
    waiting = [(1, run) for run in reversed(harness.runs) if run.start == start]
    while waiting:
        level, run = waiting.pop()
        rows.append((level, run))
        waiting += [(level + 1, r) for r in reversed(harness.runs) if r.start == run.end]
    return rows if harness.second is None else [*rows, (1, harness.second)]


def _page(
    rows: list[tuple[int, WireRun]],
    boards: tuple[LitBoard, ...],
    current: dict[str, str],
    indent: float,
    fuse: str | None,
) -> Drawing:
    head = 2 if fuse is not None else 0
    drawing = Drawing(WIDTH_MM, (len(rows) + head) * ROW_MM + 6)
    top = drawing.height_mm - 4
    at: dict[str, tuple[float, float]] = {}
    if fuse is not None:
        _supply(drawing, top, fuse)
        at[rows[0][1].start] = (4.0, top - ROW_MM)
    for number, (level, run) in enumerate(rows):
        y = top - (number + head) * ROW_MM
        x = 4.0 + indent * level
        from_x, from_y = at.get(run.start, (4.0 + indent * (level - 1), top + ROW_MM))
        drawing.line((from_x, from_y), (from_x, y), (x, y), width_mm=0.35)
        drawing.add(Round((from_x, y), 0.5, 0.1, fill=(0.1, 0.1, 0.12)))
        at[run.end] = (x, y)
        _end(drawing, x, y, run, boards, current[run.end])
    return drawing


def _supply(drawing: Drawing, top: float, fuse: str) -> None:
    drawing.add(box(1.0, top - 2.2, 22.0, 5.0))
    drawing.words(12.0, top - 0.8, "supply", size_mm=TEXT_MM, anchor="middle")
    drawing.line((4.0, top - 2.2), (4.0, top - ROW_MM), width_mm=0.35)
    drawing.add(box(2.6, top - ROW_MM + 1.2, 2.8, 2.0))
    drawing.words(8.0, top - ROW_MM + 1.3, fuse, size_mm=TEXT_MM)


def _end(
    drawing: Drawing,
    x: float,
    y: float,
    run: WireRun,
    boards: tuple[LitBoard, ...],
    current: str,
) -> None:
    """Draw the end of a run: a square for a board, a dot for a joint, and what leads there."""
    named = [boards[k] for k in run.boards]
    if named:
        drawing.add(Path(box(x - 1.3, y - 1.3, 2.6, 2.6).points, True, 0.25, fill=LIGHT))
    else:
        drawing.add(Round((x, y), 0.9, 0.25, fill=(0.1, 0.1, 0.12)))
    words = f"{run.length_mm:.0f} mm, {run.gauge}, {current}"
    if not named:
        text = f"{run.end}: {words}"
    elif (count := len({board.whole for board in named})) == 1:
        text = f"{named[0].whole} ({named[0].zone}): {words}"
    else:
        text = f"{run.end}, {count} boards: {words}"
    most = int((WIDTH_MM - x - 4) / (0.56 * TEXT_MM))
    if len(text) > most:
        text = f"{text[: most - len(words) - 6]} ...: {words}"
    drawing.words(x + 3, y - 1.0, text, size_mm=TEXT_MM)


def fitted(text: str, x_mm: float) -> str:
    """Return a text that starts at x, cut short if it would run off the drawing."""
    most = int((WIDTH_MM - x_mm - 4) / (0.56 * TEXT_MM))
    return text if len(text) <= most else text[: most - 3] + "..."


def box(left: float, bottom: float, width: float, height: float) -> Path:
    """Return a grey rectangle [mm]."""
    right, top = left + width, bottom + height
    corners = np.array([[left, bottom], [right, bottom], [right, top], [left, top]])
    return Path(corners, True, 0.3, GREY)
