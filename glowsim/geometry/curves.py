"""Lines on paper and in space: smooth through points, joined end to end, stepped along."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.interpolate import CubicSpline

from glowsim.geometry.mesh import FloatArray

CHORD_SHARE = 1e-4
"""Distance between a curve and the chord drawn for it, as a share of the drawing's size."""
SMOOTH_STEPS = 24
"""Chords of a smooth curve between two of its points."""
SAME_SHARE = 1e-9
"""Points nearer than this share of the whole are one."""


def chords_of(second_difference: float, chord: float) -> int:
    """Return the chords that keep a curve within `chord`, given the size of its second derivative.

    A chord of a step h leaves the curve by at most h^2 |B''| / 8 (linear interpolation).
    """
    return int(np.clip(np.ceil(np.sqrt(second_difference / (8 * max(chord, 1e-300)))), 1, 500))


def distinct(points: FloatArray) -> FloatArray:
    """Return points (n, d) without those that repeat the one before."""
    points = np.asarray(points, dtype=float)
    near = SAME_SHARE * float(np.ptp(points, axis=0).max(initial=0.0))
    apart = np.linalg.norm(np.diff(points, axis=0), axis=1) > near
    return points[np.concatenate([[True], apart])]


def smooth_through(points: FloatArray, closed: bool) -> FloatArray:
    """Return chords of a smooth curve through points (n, d), the ends included, (m, d) float.

    A cubic spline over the square roots of the chords (centripetal: it does not loop where
    points lie close); a closed one begins and ends at the same point.
    """
    points = distinct(np.vstack([points, points[:1]]) if closed else points)
    if len(points) < (4 if closed else 3):
        return points
    if closed:
        points[-1] = points[0]
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1) ** 0.5)])
    curve = CubicSpline(at, points, bc_type="periodic" if closed else "not-a-knot")
    between = np.linspace(at[:-1], at[1:], SMOOTH_STEPS, endpoint=False, axis=1).ravel()
    return np.asarray(curve(np.append(between, at[-1])))


def chained(pieces: Sequence[FloatArray], near: float) -> list[FloatArray]:
    """Join open lines whose ends lie within `near` of each other; return the longer lines.

    pieces : lines, each (n, 2) float. A line that comes back to its start ends in that point.
    """
    todo = [distinct(piece) for piece in pieces]
    todo = [piece for piece in todo if len(piece) > 1]
    lines = []
    while todo:
        line = todo.pop(0)
        for _ in range(2):  # onward from its end, then, turned, from its start
            while todo and not is_closed(line, near):
                gaps = [min(np.linalg.norm(line[-1] - other[k]) for k in (0, -1)) for other in todo]
                best = int(np.argmin(gaps))
                if gaps[best] > near:
                    break
                other = todo.pop(best)
                ahead = np.linalg.norm(line[-1] - other[0]) <= np.linalg.norm(line[-1] - other[-1])
                line = np.vstack([line, (other if ahead else other[::-1])[1:]])
            line = line[::-1]
        if is_closed(line, near):
            line = np.vstack([line[:-1], line[:1]])
        lines.append(line)
    return lines


def area_within(outline: FloatArray) -> float:
    """Return the area within a closed line, (n, 2) float, below 0 where it runs clockwise."""
    x, y = outline.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2


def is_closed(line: FloatArray, near: float) -> bool:
    """Whether a line ends where it begins."""
    return len(line) > 3 and bool(np.linalg.norm(line[0] - line[-1]) <= near)


def lengths_along(points: FloatArray) -> FloatArray:
    """Return the way from the first point to each, (n,) float."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def points_along(points: FloatArray, at: FloatArray) -> FloatArray:
    """Return the points at given ways along a line, (len(at), d) float."""
    way = lengths_along(points)
    return np.column_stack([np.interp(at, way, points[:, k]) for k in range(points.shape[1])])


def unit(vectors: FloatArray) -> FloatArray:
    """Return vectors, (n, d) float, made of length 1; those without length stay so."""
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12))
