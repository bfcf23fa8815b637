"""A skin drawn straight from outline to outline, each at its height."""

from __future__ import annotations

import manifold3d
import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.curves import lengths_along, points_along
from glowsim.geometry.mesh import FloatArray, Mesh

APART = 1e-5
"""Corners nearer than this share of the way round are one."""
BETWEEN = (0.25, 0.5, 0.75)
"""Where between two outlines the skin is looked at for crossing itself."""


def lofted(loops: list[FloatArray], heights: FloatArray) -> Mesh:
    """Return the closed mesh between outlines, (n, 2) float each, counter-clockwise [mm].

    Raises GeometryError where the skin would cross itself. Every corner of every outline is kept:
    each outline is cut at the shares of the way round at which any of them has a corner.
    """
    turned = [_from_plus_x(loop) for loop in loops]
    shares = [lengths_along(line)[:-1] / lengths_along(line)[-1] for line in turned]
    cuts = np.unique(np.concatenate(shares))
    cuts = cuts[np.concatenate([[True], np.diff(cuts) > APART])]
    cuts = cuts[cuts < 1 - APART]
    rings = [points_along(line, cuts * lengths_along(line)[-1]) for line in turned]
    for k in range(len(rings) - 1):
        _refuse_crossing(rings[k], rings[k + 1], k)
    return _skin(rings, heights)


def _from_plus_x(loop: FloatArray) -> FloatArray:
    """Return a closed line that begins where a ray from its middle towards +x leaves it last."""
    centre = _middle(loop)
    ahead = np.roll(loop, -1, axis=0)
    low, high = loop[:, 1] - centre[1], ahead[:, 1] - centre[1]
    crosses = (low <= 0) & (high > 0)
    share = np.divide(-low, high - low, out=np.zeros_like(low), where=crosses)
    x = np.where(crosses, loop[:, 0] + share * (ahead[:, 0] - loop[:, 0]), -np.inf)
    k = int(np.argmax(x))
    start = loop[k] + share[k] * (ahead[k] - loop[k])
    rest = np.roll(loop, -(k + 1), axis=0)
    if np.allclose(rest[-1], start, rtol=0, atol=1e-12 * max(1.0, float(np.abs(loop).max()))):
        rest = rest[:-1]
    return np.vstack([start, rest, start])


def _middle(loop: FloatArray) -> FloatArray:
    """Return the centroid of a plane polygon, (2,) float."""
    ahead = np.roll(loop, -1, axis=0)
    cross = loop[:, 0] * ahead[:, 1] - ahead[:, 0] * loop[:, 1]
    return np.asarray(((loop + ahead) * cross[:, None]).sum(axis=0) / (3 * cross.sum()))


def _area(loop: FloatArray) -> float:
    ahead = np.roll(loop, -1, axis=0)
    return float((loop[:, 0] * ahead[:, 1] - ahead[:, 0] * loop[:, 1]).sum()) / 2


def _refuse_crossing(low: FloatArray, high: FloatArray, number: int) -> None:
    """Raise GeometryError where an outline between two others crosses itself."""
    size = max(_area(low), _area(high))
    for share in BETWEEN:
        loop = np.ascontiguousarray((1 - share) * low + share * high)
        filled = manifold3d.CrossSection([loop], manifold3d.FillRule.NonZero)
        if filled.num_contour() != 1 or abs(filled.area() - _area(loop)) > 1e-4 * size:
            raise GeometryError(
                f"between sections[{number}] and sections[{number + 1}] the skin would cross "
                "itself; put a section between them, or turn or move one of the outlines"
            )


def _skin(rings: list[FloatArray], heights: FloatArray) -> Mesh:
    count = len(rings[0])
    vertices = np.vstack(
        [np.column_stack([ring, np.full(count, z)]) for ring, z in zip(rings, heights, strict=True)]
    )
    a = np.arange(count)
    b = np.roll(a, -1)
    sides = []
    for row in range(len(rings) - 1):
        low, high = row * count, (row + 1) * count
        sides += [
            np.column_stack([low + a, low + b, high + b]),
            np.column_stack([low + a, high + b, high + a]),
        ]
    last = (len(rings) - 1) * count
    base, top = (
        np.asarray(manifold3d.triangulate([np.ascontiguousarray(ring)]), np.int64).reshape(-1, 3)
        for ring in (rings[0], rings[-1])
    )
    faces = np.vstack([base[:, ::-1], *sides, top + last])
    part = np.repeat([0, 1, 2], [len(base), len(faces) - len(base) - len(top), len(top)])
    return Mesh(vertices, faces, part, ("base", "side", "top"))
