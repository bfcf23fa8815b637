"""The hollow inside a shell: the surface that lies one wall below the outer surface.

The signed distance is sampled on a grid, exactly only where the offset surface can run; the
level set at `wall_mm` is extracted and each of its corners is then moved to the exact
distance. Tips stay hollow as far as the wall allows.
"""

from __future__ import annotations

from typing import Any

import igl
import numpy as np
import trimesh
from scipy import ndimage

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm, from_manifold, to_manifold
from glowsim.geometry.repair import marched

EXACT_POINTS = 250_000
"""About how many exact distances are worth their time."""
COARSE = 4
"""Fine grid steps in a coarse one."""
SIMPLIFIED = 0.01
"""Faces of the hollow are merged while they stay within this share of the wall."""
CLOSED_UP = 2.0
"""Where the material is thicker than this many walls, the wall is said to have closed up. (A
square corner is 1.73 walls thick across its diagonal.)"""


def hollow_mesh(outer: Mesh, wall_mm: float, what: str) -> tuple[Mesh, list[str]]:
    """Return the inner surface of a shell, facing outward, and notes on where it closes up.

    Raises GeometryError if the wall leaves no hollow at all.
    """
    # The band of exact points is 2 * 0.87 * COARSE steps thick over the whole surface.
    affordable = np.sqrt(2 * 0.87 * COARSE * float(outer.areas_mm2.sum()) / EXACT_POINTS)
    step = max(float(affordable), wall_mm / 3)
    values, axes = _depth_near(outer, wall_mm, step)
    vertices, faces = marched(values, axes, wall_mm)
    if len(faces) == 0:
        raise GeometryError(
            f"{what}: a wall of {wall_mm:g} mm leaves no hollow; the body is at most "
            f"{2 * values.max():.1f} mm thick. Give a thinner wall_mm, or leave it out for a solid"
        )
    for _ in range(2):
        vertices = _at_depth(outer, vertices, wall_mm)
    inner = _without_specks(Mesh.single_part(vertices, faces), step)
    solid = to_manifold(inner, f"{what}: the hollow").simplify(SIMPLIFIED * wall_mm)
    inner = from_manifold(solid)
    return inner, _closed_up(outer, inner, wall_mm, what)


def depth_mm(mesh: Mesh, points: FloatArray) -> FloatArray:
    """Return how deep points lie below the surface, (n,) float [mm]; negative outside."""
    distance, *_ = igl.signed_distance(
        np.ascontiguousarray(points, dtype=float),
        mesh.vertices,
        mesh.faces,
        sign_type=igl.SIGNED_DISTANCE_TYPE_FAST_WINDING_NUMBER,
    )
    return -np.asarray(distance, float).ravel()


def nearest_on(mesh: Mesh, points: FloatArray) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Return for each point its distance (n,) [mm], the nearest surface point and its face."""
    squared, face, nearest = igl.point_mesh_squared_distance(
        np.ascontiguousarray(points, dtype=float), mesh.vertices, mesh.faces
    )
    return np.sqrt(np.asarray(squared, float)), np.asarray(nearest, float), np.asarray(face)


def _depth_near(outer: Mesh, wall_mm: float, step: float) -> tuple[FloatArray, list[FloatArray]]:
    """Return depths on a grid, exact wherever the depth can be near `wall_mm`."""
    low = outer.bounds[0] - 1.37 * COARSE * step
    counts = np.ceil((outer.size_mm + 2.9 * COARSE * step) / (COARSE * step)).astype(int) + 1
    coarse_axes = [low[k] + COARSE * step * np.arange(counts[k]) for k in range(3)]
    coarse = depth_mm(outer, _grid(coarse_axes)).reshape(counts)
    fine_counts = (counts - 1) * COARSE + 1
    axes = [low[k] + step * np.arange(fine_counts[k]) for k in range(3)]
    values = ndimage.zoom(coarse, fine_counts / counts, order=1, grid_mode=False)
    # Depth changes by at most the distance moved, so outside this band no crossing can hide.
    band = np.abs(values - wall_mm) < 0.87 * COARSE * step
    points = np.stack([axes[k][index] for k, index in enumerate(np.nonzero(band))], axis=1)
    values[band] = depth_mm(outer, points)
    return values, axes


def _grid(axes: list[FloatArray]) -> FloatArray:
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _at_depth(outer: Mesh, points: FloatArray, wall_mm: float) -> FloatArray:
    """Move points along the line from their nearest surface point to the wanted depth."""
    distance, nearest, _ = nearest_on(outer, points)
    away = (points - nearest) / np.maximum(distance, 1e-9)[:, None]
    return nearest + wall_mm * away


def _without_specks(inner: Mesh, step: float) -> Mesh:
    """Drop hollows too small for the grid to have shape."""
    whole = trimesh.Trimesh(inner.vertices, inner.faces, process=False)
    parts = [p for p in whole.split(only_watertight=True) if abs(p.volume) > (2 * step) ** 3]
    if not parts:
        return inner
    joined: Any = trimesh.util.concatenate(parts)
    return Mesh.single_part(joined.vertices, joined.faces)


def _closed_up(outer: Mesh, inner: Mesh, wall_mm: float, what: str) -> list[str]:
    """Return a note for each patch of outer surface below which the wall has closed up."""
    vertices, faces = trimesh.remesh.subdivide_to_size(
        outer.vertices, outer.faces, max(2 * wall_mm, float(outer.size_mm.max()) / 60)
    )
    thickness, _, _ = nearest_on(inner, vertices)
    thick = (thickness > CLOSED_UP * wall_mm)[faces].all(axis=1)
    if not thick.any():
        return []
    patch = trimesh.Trimesh(vertices, faces[thick], process=True)
    notes = []
    for group in trimesh.graph.connected_components(
        patch.face_adjacency, nodes=np.arange(len(patch.faces))
    ):
        corners = patch.vertices[np.unique(patch.faces[group])]
        deepest, _, _ = nearest_on(inner, corners)
        place = corners[int(deepest.argmax())]
        notes.append(
            f"{what}: the wall closes up about {at_mm(place)}: {deepest.max():.1f} mm of solid "
            f"material there in place of {wall_mm:g} mm"
        )
    return notes[:6]
