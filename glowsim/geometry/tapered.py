"""The hollow of a shell whose wall changes with height."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.contour import contoured
from glowsim.geometry.hollow import (
    STEP_SHARE,
    depth_and_nearest,
    depth_near,
    greatest_depth_mm,
    without_specks,
)
from glowsim.geometry.mesh import FloatArray, Mesh, from_manifold, to_manifold

SIMPLIFIED = 0.01
"""Faces of the hollow are merged while they stay within this share of the thinnest wall."""
TURNS = 4
"""Times a point is moved to its depth: its height, and so its wall, changes with it. What is left
is less than the wall's slope, at most a half, to this power."""


def tapered_hollow(outer: Mesh, points: Sequence[tuple[float, float]], what: str) -> Mesh:
    """Return the inner surface of a shell by wall over height, facing outward.

    points : heights and walls [mm], straight between them, even beyond; the heights rise

    A place of the inner surface lies as deep below the outer one as the wall is at its own height.
    Raises GeometryError if the wall leaves no hollow.
    """
    heights, walls = np.array(points, dtype=float).T

    def wall_at(places: FloatArray) -> FloatArray:
        return np.asarray(np.interp(places[:, 2], heights, walls))

    def place(near: FloatArray) -> tuple[FloatArray, FloatArray]:
        inward = np.zeros_like(near)
        for _ in range(TURNS):
            depth, nearest = depth_and_nearest(outer, near)
            known = np.abs(depth) > 1e-6
            inward[known] = ((near - nearest) / np.where(known, depth, 1.0)[:, None])[known]
            near = np.where(known[:, None], nearest + wall_at(near)[:, None] * inward, near)
        rise = np.column_stack([np.zeros((len(near), 2)), np.ones(len(near))])
        normal = inward - (wall_at(near + 1e-3 * rise) - wall_at(near))[:, None] / 1e-3 * rise
        return near, normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-9)[:, None]

    thinnest, thickest = float(walls.min()), float(walls.max())
    step = max(STEP_SHARE * float(np.sqrt(outer.areas_mm2.sum())), thinnest / 3)
    values, axes = depth_near(outer, thinnest, step, thickest)
    over = values - np.interp(axes[2], heights, walls)
    vertices, faces = contoured(over, axes, 0.0, place)
    if len(faces) == 0:
        raise GeometryError(
            f"{what}: a wall of {thinnest:g} to {thickest:g} mm leaves no hollow; the deepest "
            f"place in the body lies {greatest_depth_mm(outer):.4g} mm below its surface"
        )
    inner = without_specks(Mesh.single_part(place(vertices)[0], faces), step)
    solid = to_manifold(inner, f"{what}: the hollow").simplify(SIMPLIFIED * thinnest)
    return from_manifold(solid)
