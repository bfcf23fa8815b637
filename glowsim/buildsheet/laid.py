"""Paper strips to lay along a path: where each LED of a strip, or board of a chain, belongs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from glowsim.buildsheet.drawing import GREY, LIGHT, TAB_MM, Drawing, Round, paper_strip
from glowsim.buildsheet.places import BodyPlaces
from glowsim.scene import StripPiece

PAPER_MM = 12.0
"""Height of a strip of paper: narrow enough to follow a bend."""
END_MM = 8.0
"""Of paper past the last mark."""
HEAD_MM = 8.5
"""Room above for its words."""
WORDS_MM = 150.0
"""Width that the words need."""
TEXT_MM = 2.6


@dataclass(frozen=True)
class Laid:
    """What lies along one path, drawn out straight.

    numbers : of its lights on the sheet;  ways_mm : of their middles from the path's beginning
    pitch_mm : from each to the next;  chained : whether they are boards with wire between
    across_mm : diameter of a board, 0 for pieces of a strip
    runs : where its path runs, and from where, in words
    """

    name: str
    numbers: tuple[int, ...]
    ways_mm: tuple[float, ...]
    pitch_mm: float
    chained: bool
    across_mm: float
    runs: str

    @property
    def words(self) -> str:
        """What it is and how it is used."""
        count, first = len(self.ways_mm), self.ways_mm[0]
        if self.chained:
            what = f"{count} board{'s' if count > 1 else ''}"
            what += f", {self.pitch_mm:.1f} mm from middle to middle" if count > 1 else ""
            return f"{what}; the first {first:.1f} mm from where the path begins."
        begins = first - self.pitch_mm / 2
        return (
            f"cut to {count} LED{'s' if count > 1 else ''}; begins {begins:.1f} mm from where the "
            "path begins. Grey: its cut marks."
        )


def laid_along(places: BodyPlaces) -> list[Laid]:
    """Return what of a body's lights lies along paths, in their order."""
    pieces = [
        (light, piece)
        for light, piece in zip(places.lights, places.spec.lights, strict=True)
        if isinstance(piece, StripPiece)
    ]
    found = []
    for _, group in groupby(pieces, key=lambda pair: pair[1].strip):
        mine = list(group)
        light, piece = mine[0]
        ways = tuple(float(one.way_mm) for _, one in mine)
        pitch = ways[1] - ways[0] if len(ways) > 1 else float(light.board.pitch_mm or 0)
        across = float(light.board.diameter_mm or 0) if piece.chained else 0.0
        numbers = tuple(one.number for one, _ in mine)
        found.append(
            Laid(piece.strip_name, numbers, ways, pitch, piece.chained, across, piece.runs)
        )
    return found


def paper_strips(laid: Laid, most_mm: float) -> list[Drawing]:
    """Return the paper strip of what lies along a path at full size, from the path's beginning, in
    parts of `most_mm` at most that overlap by a tab."""
    cuts = _cuts(laid, most_mm - TAB_MM - 2)
    return [_part(laid, k, cuts) for k in range(len(cuts) - 1)]


def _cuts(laid: Laid, most_mm: float) -> list[float]:
    """Return where the paper is cut, from end to end: between two marks where that can be."""
    ways = np.array(laid.ways_mm)
    end = float(ways[-1]) + max(END_MM, (laid.across_mm or laid.pitch_mm) / 2)
    between = (ways[1:] + ways[:-1]) / 2
    cuts = [0.0]
    while end - cuts[-1] > most_mm:
        able = between[(between > cuts[-1] + 1) & (between <= cuts[-1] + most_mm)]
        cuts.append(float(able[-1]) if len(able) else cuts[-1] + most_mm)
    return [*cuts, end]


def _part(laid: Laid, number: int, cuts: list[float]) -> Drawing:
    start, count = cuts[number], len(cuts) - 1
    length = cuts[number + 1] - start
    drawing = Drawing(max(length + TAB_MM + 2, WORDS_MM), PAPER_MM + HEAD_MM + 1)
    low, high, middle = 1.0, 1.0 + PAPER_MM, 1.0 + PAPER_MM / 2
    paper_strip(drawing, length, low, high, tab=number + 1 < count)
    for light, way in zip(laid.numbers, laid.ways_mm, strict=True):
        x = way - start + 1
        if not 1 - 1e-6 <= x <= 1 + length:
            continue
        if laid.chained:
            drawing.add(Round((x, middle), laid.across_mm / 2, 0.25, LIGHT))
            drawing.line((x - 2, middle), (x + 2, middle), width_mm=0.2)
        else:
            for cut in (x - laid.pitch_mm / 2, x + laid.pitch_mm / 2):
                drawing.line((cut, low), (cut, high), width_mm=0.2, colour=GREY)
            drawing.add(Round((x, middle), 0.6, 0.25, LIGHT))
        drawing.line((x, middle - 2), (x, middle + 2), width_mm=0.2)
        drawing.words(x + 0.8, high - 3.2, str(light), size_mm=TEXT_MM)
    part = f", part {number + 1} of {count}" if count > 1 else ""
    drawing.words(1, PAPER_MM + 6, f"{laid.name}{part}: {laid.words}", size_mm=TEXT_MM)
    left = "its left end there" if number == 0 else "against the part before"
    how = f"Lay it along its path, {laid.runs}: {left}. Numbers are those of the lights."
    drawing.words(1, PAPER_MM + 2.4, how, size_mm=TEXT_MM)
    return drawing
