"""What of a prop's light is sent to a page: that of the corners where it differs from what the page
has already."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from glowsim.geometry.mesh import FloatArray

Corners = tuple[int, int]
"""The first of a row of corners, and the one after its last."""
VALUES = 10
"""Numbers at a corner, see `Skin.light_bytes`: three of the glow itself, six of what is sent back,
and what contour lines follow."""
MOST_LAG = 8
"""Answers that a page may have missed and still be sent the difference."""


def corners_of(light: bytes) -> int:
    """Return the number of corners that a light is of."""
    return len(light) // (4 * VALUES)


def parts_of(light: bytes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the glow (c, 3), what is sent back (6 c,), what contour lines follow (c,): float32."""
    count = corners_of(light)
    values = np.frombuffer(light, "<f4")
    return values[: 3 * count].reshape(-1, 3), values[3 * count : 9 * count], values[9 * count :]


def calm_kept(last: bytes, own: FloatArray, calm: FloatArray) -> FloatArray:
    """Return what contour lines follow in a draft, (c,): as it was where the glow is as it was."""
    glow, _, before = parts_of(last)
    same = (glow == own.astype("<f4")).all(axis=1)
    return np.where(same, before, calm)


def moved(light: bytes, last: bytes) -> Corners:
    """Return the row of corners in which two lights differ, what is sent back apart."""
    (glow, _, calm), (glow_was, _, calm_was) = parts_of(light), parts_of(last)
    where = np.flatnonzero((glow != glow_was).any(axis=1) | (calm != calm_was))
    return (int(where[0]), int(where[-1]) + 1) if len(where) else (0, 0)


def moved_since(since: Mapping[int, Corners], number: int, now: Corners) -> dict[int, Corners]:
    """Return the rows that differ from answers before, one more of them known.

    since : rows by which answer `number` differed from those before it, by their numbers
    now   : by which the newest differs from `number`
    """
    lately = {n: _both(row, now) for n, row in since.items() if n > number - MOST_LAG}
    return lately | {number: now}


def part(light: bytes, row: Corners) -> bytes:
    """Return the glow and what contour lines follow of a row of corners, float32."""
    glow, _, calm = parts_of(light)
    return glow[slice(*row)].tobytes() + calm[slice(*row)].tobytes()


def _both(one: Corners, other: Corners) -> Corners:
    rows = [row for row in (one, other) if row[0] < row[1]]
    return (min(r[0] for r in rows), max(r[1] for r in rows)) if rows else (0, 0)
