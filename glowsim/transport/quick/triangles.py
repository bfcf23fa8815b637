"""Triangles cut into small ones, and points that integrate over them."""

from __future__ import annotations

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray


def surface_points(
    triangles: FloatArray, spacing_mm: float
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return integration points on triangles no further apart than about `spacing_mm`.

    Returns points (n, 3), the area each stands for (n,) and its triangle (n,). Each triangle
    is cut in four until it is small enough, then measured at three points, exact to second
    order (Strang & Fix, An Analysis of the Finite Element Method, 1973).
    """
    owner = np.arange(len(triangles))
    points, areas, owners = [], [], []
    inner = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6
    while len(triangles):
        edges = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2)
        small = edges.max(axis=1) <= spacing_mm
        done = triangles[small]
        points.append(np.einsum("qc,tcd->tqd", inner, done).reshape(-1, 3))
        cross = np.cross(done[:, 1] - done[:, 0], done[:, 2] - done[:, 0])
        areas.append(np.repeat(np.linalg.norm(cross, axis=1) / 6, 3))
        owners.append(np.repeat(owner[small], 3))
        triangles, owner = quartered(triangles[~small]), np.repeat(owner[~small], 4)
    return np.concatenate(points), np.concatenate(areas), np.concatenate(owners)


def quartered(triangles: FloatArray) -> FloatArray:
    """Cut each triangle into four at the middles of its edges."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    parts = [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
    return np.stack([np.stack(p, axis=1) for p in parts], axis=1).reshape(-1, 3, 3)
