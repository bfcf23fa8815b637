"""The line that a strip or chain lies along, and whether that has room on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.curves import (
    distinct,
    is_closed,
    lengths_along,
    points_along,
    smooth_through,
)
from glowsim.geometry.mesh import FloatArray, at_mm
from glowsim.scene import Light

WITHIN = 1e-6
"""Share of its length by which a path may be too short for its LEDs."""
JOIN_MM = 1e-3
"""A path whose ends are nearer than this is closed."""
MOST_BOARDS = 2000
"""A chain of more is a slip of the pen."""


@dataclass(frozen=True)
class Track:
    """The line that a strip or chain lies along.

    line : (n, 3) float [mm], chords;  closed : whether it ends where it begins, so that a strip
           runs on round it
    """

    line: FloatArray
    closed: bool

    @property
    def length_mm(self) -> float:
        """How long it is, once along."""
        return float(lengths_along(self.line)[-1])

    def at(self, ways_mm: FloatArray) -> FloatArray:
        """Return the points at some ways along it, (n,) float, round and round where it is closed
        and held at its ends where it is not, (n, 3) float [mm]."""
        length = self.length_mm
        ways = np.mod(ways_mm, length) if self.closed else np.clip(ways_mm, 0.0, length)
        return points_along(self.line, ways)

    def last_start_mm(self, strip_mm: float) -> float:
        """Return how far along it a strip so long may begin at the farthest; below 0 where there
        is no room for it."""
        room = self.length_mm - strip_mm
        return self.length_mm if self.closed and room >= -WITHIN * self.length_mm else room


def track_of(light: Light) -> Track:
    """Return the line a strip or chain lies along by its points.

    Raises GeometryError where it has no length or bends too tightly for a strip.
    """
    points = distinct(np.asarray(light.path_mm, dtype=float))
    if len(points) < 2:
        raise GeometryError("the path has no length; it needs two points apart")
    closed = is_closed(points, JOIN_MM)
    line = points
    if light.path_smooth:
        line = smooth_through(points[:-1] if closed else points, closed)
        if len(line) > 2 and not light.is_chain:
            over = np.vstack([line, line[1:2]]) if closed else line
            _refuse_tight(over, light.least_bend_mm)
    return Track(line, closed)


def spread(light: Light) -> Light:
    """Return a chain with both its number of boards and its pitch.

    Raises GeometryError where its path has no room for two, or for what start_mm asks.
    """
    track, count, pitch = track_of(light), light.board_count, light.pitch_mm
    if count is None:
        assert pitch is not None, "a chain has one of the two"
        count = int(track.length_mm * (1 + WITHIN) / pitch) + (not track.closed)
        if not 1 <= count <= MOST_BOARDS:
            raise GeometryError(
                f"the path is {track.length_mm:.1f} mm long: boards {pitch:g} mm apart (pitch_mm) "
                f"would be {count}; at most {MOST_BOARDS} are taken, and one at least"
            )
    elif pitch is None:
        pitch = track.length_mm / (count if track.closed else max(1, count - 1))
        if light.start_mm and not track.closed and count > 1:
            raise GeometryError(
                "its boards are spread evenly from end to end of the path; leave out start_mm, or "
                "say how far apart they are (pitch_mm)"
            )
    return light.model_copy(update={"board_count": count, "pitch_mm": pitch})


def span_mm(light: Light, track: Track, pitch_mm: float) -> float:
    """Return how much of its path a strip or chain takes: a chain from its first board to its last,
    round a closed path on to the first again."""
    count = light.board_count or light.led_count or 0
    return pitch_mm * (count - (light.is_chain and not track.closed))


def refuse_short(track: Track, light: Light, pitch_mm: float) -> None:
    """Raise GeometryError where a strip or chain runs past the end of its path."""
    length, strip_mm = track.length_mm, span_mm(light, track, pitch_mm)
    last = track.last_start_mm(strip_mm)
    what, each = ("chain", "boards") if light.is_chain else ("strip", "LEDs")
    if last < -WITHIN * length:
        room = int(length * (1 + WITHIN) / pitch_mm) + (light.is_chain and not track.closed)
        raise GeometryError(
            f"the path is {length:.1f} mm long, and {light.board_count or light.led_count} {each} "
            f"at {pitch_mm:g} mm need {strip_mm:.1f} mm; it has room for {room}"
        )
    if light.start_mm > last + WITHIN * length:
        raise GeometryError(
            f"the {what} begins {light.start_mm:g} mm along its path (start_mm) and is "
            f"{strip_mm:.1f} mm long, but the path ends at {length:.1f} mm: begin at "
            f"{max(last, 0.0):.1f} mm at the latest"
        )


def _refuse_tight(path: FloatArray, least_mm: float) -> None:
    """Raise GeometryError at the tightest bend of a path if it is tighter than allowed."""
    a, b, c = path[:-2], path[1:-1], path[2:]
    # Radius of the circle through three points: product of the sides over four times the area.
    sides = [np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))]
    twice_area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    product = sides[0] * sides[1] * sides[2]
    radius = np.full(len(product), np.inf)
    np.divide(product, 2 * twice_area, out=radius, where=twice_area > 1e-9 * product)
    tightest = int(radius.argmin())
    if radius[tightest] < least_mm:
        raise GeometryError(
            f"the path bends to a radius of {radius[tightest]:.1f} mm about {at_mm(b[tightest])}; "
            f"the strip takes {least_mm:g} mm (least_bend_mm); path_smooth = false has it cut and "
            "wired at corners"
        )
