"""Full-size drawings on sheets of paper: packed together, or tiled with marks to join them by."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from glowsim.buildsheet.drawing import GREY, Drawing, Round, turned
from glowsim.errors import SceneError, did_you_mean

PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height [mm]: ISO 216; ANSI/ASME Y14.1."""
EDGE_MM = 10.0
"""Most printers leave this much of the edge white (common practice)."""
HEAD_MM, FOOT_MM = 11.0, 17.0
"""Kept for the title above, and for the check bar below."""
OVERLAP_MM = 12.0
GAP_MM = 6.0
BAR_MM = 50.0
JOIN = (
    "Cut one sheet along the dotted line, lay it on its neighbour: rings of one letter must meet."
)


@dataclass(frozen=True)
class Piece:
    """A window of a drawing at a place on a page.

    window : (left, bottom, width, height) of the drawing that shows
    at     : where the window's lower left corner lies in the page's drawing area
    """

    drawing: Drawing
    window: tuple[float, float, float, float]
    at: tuple[float, float]


@dataclass(frozen=True)
class Page:
    """A page of templates; `note` stands below its title."""

    title: str
    pieces: tuple[Piece, ...]
    note: str = ""


def paper_size_mm(name: str) -> tuple[float, float]:
    """Return width and height of a paper; raises SceneError naming the nearest."""
    for known, size in PAPERS.items():
        if known.lower() == name.lower():
            return size
    raise SceneError(f"there is no paper '{name}'{did_you_mean(name, PAPERS)}")


def area_mm(paper: str) -> tuple[float, float]:
    """Return width and height of the area of a page that drawings may fill."""
    width, height = paper_size_mm(paper)
    return width - 2 * EDGE_MM, height - 2 * EDGE_MM - HEAD_MM - FOOT_MM


def pages_for(title: str, drawings: Sequence[Drawing], paper: str) -> list[Page]:
    """Return pages for the drawings of one body: rows of what fits, tiles of what does not.

    A drawing is turned by a quarter where that takes fewer sheets; it is never scaled.
    """
    wide, tall = area_mm(paper)
    rows: list[list[Drawing]] = []
    for upright in drawings:
        drawing = _fewest(upright, wide, tall)
        used = sum(d.width_mm + GAP_MM for d in rows[-1]) if rows else math.inf
        if rows and used + drawing.width_mm <= wide:
            rows[-1].append(drawing)
        else:
            rows.append([drawing])
    pages: list[Page] = []
    stack: list[tuple[float, Drawing]] = []
    room = tall
    for row in (_row(drawings) for drawings in rows):
        if row.width_mm > wide or row.height_mm > tall:
            if stack:
                pages.append(_stacked(title, stack, tall))
                stack, room = [], tall
            pages += _tiles(title, row, wide, tall)
            continue
        if row.height_mm > room:
            pages.append(_stacked(title, stack, tall))
            stack, room = [], tall
        stack.append((tall - room, row))
        room -= row.height_mm + GAP_MM
    if stack:
        pages.append(_stacked(title, stack, tall))
    return pages


def sheets_of(drawing: Drawing, wide: float, tall: float) -> int:
    """Return how many sheets a drawing takes, turned by a quarter if that saves any."""
    return min(_upright(drawing, wide, tall), _lying(drawing, wide, tall))


def _upright(drawing: Drawing, wide: float, tall: float) -> int:
    return _count(drawing.width_mm, wide) * _count(drawing.height_mm, tall)


def _lying(drawing: Drawing, wide: float, tall: float) -> int:
    return _count(drawing.height_mm, wide) * _count(drawing.width_mm, tall)


def _fewest(drawing: Drawing, wide: float, tall: float) -> Drawing:
    """Return a drawing, or that drawing turned, whichever takes fewer sheets."""
    lying, upright = _lying(drawing, wide, tall), _upright(drawing, wide, tall)
    return turned(drawing) if lying < upright else drawing


def _row(drawings: list[Drawing]) -> Drawing:
    width = sum(d.width_mm for d in drawings) + GAP_MM * (len(drawings) - 1)
    row = Drawing(width, max(d.height_mm for d in drawings))
    x = 0.0
    for drawing in drawings:
        row.place(drawing, x, row.height_mm - drawing.height_mm)
        x += drawing.width_mm + GAP_MM
    return row


def _stacked(title: str, stack: list[tuple[float, Drawing]], tall: float) -> Page:
    pieces = [
        Piece(row, (0.0, 0.0, row.width_mm, row.height_mm), (0.0, tall - above - row.height_mm))
        for above, row in stack
    ]
    return Page(title, tuple(pieces))


def _tiles(title: str, drawing: Drawing, wide: float, tall: float) -> list[Page]:
    """Cut a drawing into pages that overlap, with marks in the overlaps that must coincide."""
    columns, rows = _count(drawing.width_mm, wide), _count(drawing.height_mm, tall)
    sheet = Drawing(drawing.width_mm, drawing.height_mm, list(drawing.items))
    step_x, step_y = wide - OVERLAP_MM, tall - OVERLAP_MM
    letters = _letters()
    for column in range(1, columns):
        x = column * step_x + OVERLAP_MM / 2
        sheet.line((x, 0), (x, sheet.height_mm), width_mm=0.12, dash_mm=(1, 2), colour=GREY)
        for row in range(rows):
            low = row * step_y
            high = min(low + tall, sheet.height_mm)
            for share in (0.25, 0.75):
                _mark(sheet, x, low + share * (high - low), next(letters))
    for row in range(1, rows):
        y = sheet.height_mm - row * step_y - OVERLAP_MM / 2
        sheet.line((0, y), (sheet.width_mm, y), width_mm=0.12, dash_mm=(1, 2), colour=GREY)
        for column in range(columns):
            left = column * step_x
            right = min(left + wide, sheet.width_mm)
            for share in (0.25, 0.75):
                _mark(sheet, left + share * (right - left), y, next(letters))
    pages = []
    for row in range(rows):
        for column in range(columns):
            width = min(wide, sheet.width_mm - column * step_x)
            height = min(tall, sheet.height_mm - row * step_y)
            bottom = sheet.height_mm - row * step_y - height
            piece = Piece(sheet, (column * step_x, bottom, width, height), (0.0, tall - height))
            where = f"sheet {row * columns + column + 1} of {rows * columns}"
            if columns > 1:
                where += f" (row {row + 1}, column {column + 1})"
            pages.append(Page(f"{title}, {where}", (piece,), JOIN))
    return pages


def _count(size: float, most: float) -> int:
    return 1 if size <= most else math.ceil((size - OVERLAP_MM) / (most - OVERLAP_MM))


def _letters() -> Iterator[str]:
    """Yield A, B, ... Z, AA, AB, ..."""
    number = 0
    while True:
        text, left = "", number
        while True:
            text = chr(65 + left % 26) + text
            left = left // 26 - 1
            if left < 0:
                break
        yield text
        number += 1


def _mark(sheet: Drawing, x: float, y: float, letter: str) -> None:
    """Draw a cross in a ring with its letter: it lies on both pages, at the same place."""
    sheet.add(Round((x, y), 2.0, 0.2))
    sheet.line((x - 3.5, y), (x + 3.5, y), width_mm=0.2)
    sheet.line((x, y - 3.5), (x, y + 3.5), width_mm=0.2)
    sheet.words(x + 2.4, y + 1.2, letter, size_mm=3.0)
