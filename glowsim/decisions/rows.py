"""Where the small boards of a row stand: along a body, or on both sides of a core in it."""

from __future__ import annotations

import numpy as np

from glowsim.geometry.body import region_of
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.problem import BodyProblem, Kind

GRIP_MM = 4.0
"""Boards stand at least so deep."""
STEP_MM = 2.0
"""Between places that are looked at."""
LEAST_APART_MM, MOST = 12.0, 8
"""Boards are no nearer to each other, and no more."""
WIDEST_MM = 30.0
"""No core is looked for beyond this half width."""
CLEAR_MM = 0.5
"""Between a board's back and a core."""
_TURNS = (0, 2, 1, 3)
"""Boards on the axis face one side, then the next: each a quarter turn on."""


def row_of(
    problem: BodyProblem, axis: int, middle: FloatArray, thick_mm: float
) -> tuple[FloatArray, FloatArray, bool]:
    """Return where boards of a row stand and face, (n, 3) each, and whether beside a core.

    axis : the row runs along it (0 to 2), through `middle`, (3,) [mm], or beside what core is there
    """
    low, high = problem.outer.bounds
    along = np.arange(low[axis] + GRIP_MM, high[axis] - GRIP_MM, STEP_MM)
    line = np.repeat(middle[None], len(along), axis=0)
    line[:, axis] = along
    ways = [sign * np.eye(3)[k] for k in range(3) if k != axis for sign in (1.0, -1.0)]
    core = line[_kinds(problem, line) == Kind.OPAQUE]
    if len(core) == 0:
        places = _spread(problem, line, axis, MOST)
        turns = [ways[_TURNS[k % 4]] for k in range(len(places))]
        return places, np.array(turns).reshape(-1, 3), False
    clear = [_clear_mm(problem, core, way) for way in ways]
    first = int(np.argmin(clear)) // 2 * 2
    both = [(ways[k], clear[k]) for k in (first, first + 1) if np.isfinite(clear[k])]
    rows = [
        _spread(problem, line + (offset + thick_mm + CLEAR_MM) * way, axis, MOST // len(both))
        for way, offset in both
    ]
    facing = [np.repeat(way[None], len(row), 0) for (way, _), row in zip(both, rows, strict=True)]
    none = np.zeros((0, 3))
    return np.concatenate([none, *rows]), np.concatenate([none, *facing]), True


def _spread(problem: BodyProblem, points: FloatArray, axis: int, most: int) -> FloatArray:
    """Return the places on a line that boards go to which are driven alike, (n, 3) float.

    Each lights as much material: the square of the depth, added up along the line.
    """
    depth = depth_mm(problem.outer, points)
    free = (depth > GRIP_MM) & (_kinds(problem, points) == Kind.SCATTERS)
    points, depth = points[free], depth[free]
    if len(points) == 0:
        return points
    along = points[:, axis]
    gap = max(LEAST_APART_MM, float(np.median(depth)))
    count = int(np.clip(np.ptp(along) // gap + 1, 1, most))
    share = np.cumsum(depth**2)
    kept: list[int] = []
    for row in np.searchsorted(share / share[-1], (np.arange(count) + 0.5) / count):
        if not kept or along[row] - along[kept[-1]] >= LEAST_APART_MM:
            kept.append(int(row))
    return points[kept]


def _clear_mm(problem: BodyProblem, core: FloatArray, way: FloatArray) -> float:
    """Return how far from a core's axis its material ends, infinite if nowhere near."""
    for offset in np.arange(1.0, WIDEST_MM, 0.5):
        if (_kinds(problem, core + offset * way) == Kind.SCATTERS).mean() > 0.9:
            return float(offset)
    return float("inf")


def _kinds(problem: BodyProblem, points: FloatArray) -> IntArray:
    return problem.kind_of(region_of(points, problem.solids))
