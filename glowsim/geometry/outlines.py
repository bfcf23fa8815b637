"""Outlines of a body on paper: what is seen of it from one side, and cuts across it."""

from __future__ import annotations

from typing import Literal

import numpy as np

from glowsim.geometry.mesh import FloatArray, Mesh, to_manifold

View = Literal["top", "below", "front", "side"]

_ROWS: dict[View, list[list[float]]] = {
    "top": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "below": [[1, 0, 0], [0, -1, 0], [0, 0, -1]],
    "front": [[1, 0, 0], [0, 0, 1], [0, -1, 0]],
    "side": [[0, 1, 0], [0, 0, 1], [1, 0, 0]],
}
"""Right, up and towards the viewer, in the body's frame."""
CUT_ABOVE = 1e-3
"""The base is cut this share of the body's height above its lowest point, ..."""
CUT_MOST_MM = 0.05
"""... and no higher than this."""
IS_BASE = 0.1
"""A lowest cut of a smaller share of what is seen from above is no base to stand on."""
_SIMPLER_MM = 0.01


def on_paper(points: FloatArray, view: View) -> FloatArray:
    """Return points as seen from a side, (n, 2) float [mm]: right and up."""
    return np.asarray(points) @ np.array(_ROWS[view], dtype=float)[:2].T


def silhouette_mm(mesh: Mesh, view: View, what: str) -> list[FloatArray]:
    """Return the outlines of a closed mesh as seen from a side, each (n, 2) float [mm].

    Raises GeometryError if the mesh is not closed.
    """
    return shadow_mm(mesh, np.array(_ROWS[view], dtype=float), what)


def shadow_mm(mesh: Mesh, rows: FloatArray, what: str) -> list[FloatArray]:
    """Return the same as seen from anywhere.

    rows : (3, 3) float, right, up and towards the viewer
    """
    turn = np.eye(4)
    turn[:3, :3] = rows
    shadow = to_manifold(mesh.moved(turn), what).project().simplify(_SIMPLER_MM)
    return [np.asarray(polygon, dtype=float) for polygon in shadow.to_polygons()]


def base_mm(mesh: Mesh, what: str) -> list[FloatArray]:
    """Return the outlines of the base a body stands on, as seen from above, each (n, 2) [mm].

    Empty for a body that stands on a point or an edge. Raises GeometryError as `silhouette_mm`.
    """
    low, high = mesh.bounds[:, 2]
    solid = to_manifold(mesh, what)
    cut = solid.slice(float(low + min(CUT_MOST_MM, CUT_ABOVE * (high - low))))
    if cut.area() < IS_BASE * solid.project().area():
        return []
    return [np.asarray(p, dtype=float) for p in cut.simplify(_SIMPLER_MM).to_polygons()]


def area_mm2(outlines: list[FloatArray]) -> float:
    """Return the area within outlines, holes taken off [mm2]."""
    total = 0.0
    for points in outlines:
        ahead = np.roll(points, -1, axis=0)
        total += float((points[:, 0] * ahead[:, 1] - points[:, 1] * ahead[:, 0]).sum()) / 2
    return total
