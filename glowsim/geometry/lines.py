"""Lines engraved into a surface: how far places are from one, and its faces cut along its edges."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.cuts import Surface, cut
from glowsim.geometry.mesh import FloatArray

Line = Sequence[Sequence[float]] | FloatArray
"""Its points, (k, 3) [mm]."""
BESIDE = 1.5
"""Faces are cut along the edges of a line as far as this many half widths from its middle."""


def along_line_mm(points: FloatArray, line_mm: Line) -> FloatArray:
    """Return the distance of points, (n, 3), from a line through the points given, (n,) [mm]."""
    corners = np.asarray(line_mm, dtype=float)
    nearest = np.full(len(points), np.inf)
    for start, end in pairwise(corners):
        way = end - start
        share = np.clip((points - start) @ way / max(float(way @ way), 1e-12), 0.0, 1.0)
        away = np.linalg.norm(points - start - share[:, None] * way, axis=1)
        np.minimum(nearest, away, out=nearest)
    return nearest


def cut_along_line(surface: Surface, line_mm: Line, width_mm: float) -> Surface:
    """Return a surface with its faces cut along both edges and the ends of a line on it."""
    corners = np.asarray(line_mm, dtype=float)
    for start, end in pairwise(corners):
        length = float(np.linalg.norm(end - start))
        along = (end - start) / max(length, 1e-12)
        for normal, offsets in _planes(surface, start, end, along, width_mm):
            for offset in offsets:
                surface = cut(
                    surface,
                    partial(_beyond, normal, offset),
                    near=partial(_beside, np.stack([start, end]), BESIDE * width_mm / 2),
                )
    return surface


def _planes(
    surface: Surface,
    start: FloatArray,
    end: FloatArray,
    along: FloatArray,
    width_mm: float,
) -> list[tuple[FloatArray, tuple[float, float]]]:
    """Return the planes that bound a stretch of line: across the surface, and at its ends."""
    middle = (start + end) / 2
    corners = surface.vertices[surface.faces]
    a, b, c = corners[np.linalg.norm(corners.mean(axis=1) - middle, axis=1).argmin()]
    across = np.cross(np.cross(b - a, c - a), along)
    size = float(np.linalg.norm(across))
    ends = (float(along @ start) - width_mm / 2, float(along @ end) + width_mm / 2)
    if size < 1e-12:
        return [(along, ends)]
    across /= size
    level = float(across @ middle)
    return [(across, (level - width_mm / 2, level + width_mm / 2)), (along, ends)]


def _beyond(normal: FloatArray, offset: float, points: FloatArray) -> FloatArray:
    return np.asarray(points @ normal - offset)


def _beside(line_mm: Line, reach_mm: float, points: FloatArray) -> NDArray[np.bool_]:
    return along_line_mm(points, line_mm) <= reach_mm
