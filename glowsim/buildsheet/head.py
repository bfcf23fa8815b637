"""Paper strips for a round head: where each row of pieces sits, its wire hole, its lean."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from glowsim.buildsheet.drawing import GREY, TAB_MM, Drawing, Round, paper_strip
from glowsim.buildsheet.places import CHANNEL_MM, ball_mm
from glowsim.scene import Around, Body, Scene

STRIP_MM = 14.0
"""Height of a strip: narrow enough to lie on a ball."""
TEXT_MM = 2.6
HEAD_MM = 14.0
"""Room above a strip for its words."""
WORDS_MM = 178.0
"""Width that the words need."""
CLEAR_MM = CHANNEL_MM / 2 + 2.0
"""No strip is cut nearer than this to the middle of a hole."""
MIDDLE_MM = 0.01
"""How far a ball may be off the middle of a row it carries."""
ON_AXIS_DEG = 2.0
"""Rows that lean less than this from the axis are a single place, not a ring."""


@dataclass(frozen=True)
class Row:
    """A row of pieces round a head.

    body       : whose copies they are;  names : of the copies, in their order
    head       : the ball they sit on;  head_mm : its radius
    ring_mm    : radius of the circle on the head's surface that they sit on
    above_mm   : height of that circle above the head's lowest point
    lean_deg   : of each piece from upright;  angle_deg : (n,) bearings about the axis
    """

    body: str
    names: tuple[str, ...]
    head: str
    head_mm: float
    ring_mm: float
    above_mm: float
    lean_deg: float
    angle_deg: tuple[float, ...]

    @property
    def marks_mm(self) -> tuple[float, ...]:
        """Where the middles lie along the strip, from its left end."""
        return tuple(math.radians(a - self.seam_deg) * self.ring_mm for a in self.angle_deg)

    @property
    def seam_deg(self) -> float:
        """Bearing of the strip's ends: half a gap before the first piece, clear of its hole."""
        return self.angle_deg[0] - (self.angle_deg[1] - self.angle_deg[0]) / 2

    @property
    def front_mm(self) -> float:
        """Where the bearing 0, the head's +x, lies along the strip: rows are lined up by it."""
        return math.radians(-self.seam_deg % 360) * self.ring_mm

    def reach_mm(self, foot_mm: float) -> float:
        """Return how far along the strip a foot of some radius reaches from its middle, on the
        ball: where the rim, at its angle from the piece, comes to the row's own height. 0 for one
        that would meet itself round the head."""
        lean = math.radians(self.lean_deg)
        away = math.asin(min(foot_mm / self.head_mm, 1.0))
        turn = (math.cos(away) - math.cos(lean) ** 2) / max(math.sin(lean) ** 2, 1e-9)
        return math.acos(turn) * self.ring_mm if -1 < turn < 1 else 0.0

    @property
    def length_mm(self) -> float:
        """Once round."""
        return 2 * math.pi * self.ring_mm


def rows_of(scene: Scene) -> tuple[Row, ...]:
    """Return the rows of all bodies that stand round the middle of a ball, which is their head.

    Rows round anything else, or round nothing, are left out: a strip is made for the ball it lies
    on. So are bodies that are moved or turned before their pattern lays them out: their feet stand
    elsewhere.
    """
    found = []
    for body in scene.bodies:
        number = 0
        if np.any(body.position_mm) or np.any(body.rotation_deg):
            continue
        for pattern in body.patterns:
            first, number = number, number + pattern.copy_count
            if not isinstance(pattern, Around) or pattern.radius_mm <= 0 or not body.lights:
                continue
            names = tuple(body.copy_names[first:number])
            found += [_row(body, pattern, names, *ball) for ball in _balls(scene, pattern)[:1]]
    return tuple(row for row in found if row.ring_mm > 1.0 and len(row.names) > 1)


def _balls(scene: Scene, pattern: Around) -> list[tuple[str, float]]:
    """Return name and radius of each ball in the middle of a pattern, the widest first."""
    balls = [
        (body.name, radius)
        for body in scene.bodies
        if (radius := ball_mm(body)) is not None and not body.patterns
        if np.abs(np.subtract(body.position_mm, pattern.centre_mm)).max() <= MIDDLE_MM
    ]
    return sorted(balls, key=lambda ball: -ball[1])


def _row(body: Body, pattern: Around, names: tuple[str, ...], head: str, radius: float) -> Row:
    tilt = math.radians(pattern.tilt_deg)
    gaps = pattern.count if pattern.span_deg == 360 else max(1, pattern.count - 1)
    step = pattern.span_deg / gaps
    return Row(
        body.name,
        names,
        head,
        radius,
        abs(radius * math.sin(tilt)) if abs(pattern.tilt_deg % 180) > ON_AXIS_DEG else 0.0,
        radius * (1 + math.cos(tilt)),
        pattern.tilt_deg,
        tuple(pattern.start_deg + step * k for k in range(pattern.count)),
    )


def strips(row: Row, most_mm: float, foot_mm: float = 0.0) -> list[Drawing]:
    """Return a row's strip at full size, in parts of `most_mm` at most that overlap by a tab.

    foot_mm : radius of the pieces' feet, whose rims are marked on the middle line; 0 for none
    """
    cuts = _cuts(row, most_mm - TAB_MM - 2)
    reach = row.reach_mm(foot_mm)
    return [_part(row, k, cuts, reach) for k in range(len(cuts) - 1)]


def _cuts(row: Row, most_mm: float) -> list[float]:
    """Return where a strip is cut, from end to end: never through a hole."""
    cuts = [0.0]
    while row.length_mm - cuts[-1] > most_mm:
        at = cuts[-1] + most_mm
        near = [mark for mark in row.marks_mm if abs(mark - at) < CLEAR_MM]
        # Two holes side by side leave no clear place: then through their middle.
        clear = min(near, default=at + CLEAR_MM) - CLEAR_MM
        cuts.append(clear if clear > cuts[-1] + CLEAR_MM else at)
    return [*cuts, row.length_mm]


def _part(row: Row, number: int, cuts: list[float], reach: float) -> Drawing:
    start, count = cuts[number], len(cuts) - 1
    length = cuts[number + 1] - start
    drawing = Drawing(max(length + TAB_MM + 2, WORDS_MM), STRIP_MM + HEAD_MM + 4)
    middle = STRIP_MM / 2 + 2
    paper_strip(drawing, length, 2, 2 + STRIP_MM)
    for name, at in zip(row.names, row.marks_mm, strict=True):
        x = at - start + 1
        for rim in (x - reach, x + reach) if reach else ():
            if 1 < rim < 1 + length:
                drawing.line((rim, middle - 2), (rim, middle + 2), width_mm=0.25, colour=GREY)
        if not 1 - 1e-6 <= x < 1 + length:
            continue
        drawing.line((x, 2), (x, 2 + STRIP_MM), width_mm=0.2)
        drawing.add(Round((x, middle), CHANNEL_MM / 2, 0.25))
        drawing.words(x + 1, STRIP_MM - 1, name, size_mm=TEXT_MM)
    front = row.front_mm - start + 1
    if 1 - 1e-6 <= front < 1 + length:
        drawing.line((front, 0), (front, 4), width_mm=0.5)
        drawing.words(front + 1, 0.2, "+x", size_mm=TEXT_MM - 0.6)
    part = f", part {number + 1} of {count}" if count > 1 else ""
    drawing.words(
        1,
        STRIP_MM + 11,
        f"{row.names[0]} to {row.names[-1]}{part}: once round {row.length_mm:.1f} mm",
        size_mm=3.0,
    )
    drawing.words(
        1,
        STRIP_MM + 6.5,
        f"Lay its middle line round {row.head} where it is {2 * row.ring_mm:.1f} mm across, "
        f"{row.above_mm:.1f} mm above its lowest point, all +x marks above each other.",
        size_mm=TEXT_MM,
    )
    drawing.words(
        1,
        STRIP_MM + 3,
        f"Bore Ø {CHANNEL_MM:.0f} mm for the wires at each ring, towards its middle; each "
        f"piece leans {row.lean_deg:.0f}° from upright."
        + (" Grey ticks: the rim of its foot." if reach else ""),
        size_mm=TEXT_MM,
    )
    return drawing
