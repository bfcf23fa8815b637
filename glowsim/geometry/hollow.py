"""The hollow inside a shell: the surface that lies one wall below the outer surface.

Where the body is thick enough everywhere, each corner is moved inward until it lies one wall
below the planes of its faces, which is exact for flat sides and edges. Where it is not (thin
edges, sharp tips, narrow places), the signed distance is sampled on a grid, exactly only
where the inner surface can run, and the surface is drawn through it with its edges kept.
"""

from __future__ import annotations

import igl
import manifold3d
import numpy as np
import trimesh
from scipy import ndimage

from glowsim.errors import GeometryError
from glowsim.geometry.contour import contoured, solved_planes
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm, from_manifold, to_manifold

STEP_SHARE = 0.009
"""Grid step over the square root of the surface: some 30 000 faces, less after merging."""
COARSE = 4
"""Fine grid steps in a coarse one."""
SIMPLIFIED = 0.01
"""Faces of the hollow are merged while they stay within this share of the wall."""
WALL_ERROR = (-0.03, 0.25)
"""How far the wall may be off, as a share of it, when corners are moved inward. The greater
error arises at inward edges, whose offset is mitred rather than rounded."""
CLOSED_UP = 2.0
"""Where the material is thicker than this many walls, the wall is said to have closed up. (A
square corner is 1.73 walls thick across its diagonal.)"""
MOST_CUBES = 500
"""Cubes followed at a time in the search for the deepest place."""
CLOSE = 0.003
"""How near that search comes to the greatest depth, as a share of it."""
_EIGHTH = np.stack(np.meshgrid([-1, 1], [-1, 1], [-1, 1], indexing="ij"), axis=-1).reshape(-1, 3)
"""The middles of the eighths of a cube of edge 4."""


def hollow_mesh(outer: Mesh, wall_mm: float, what: str) -> tuple[Mesh, list[str]]:
    """Return the inner surface of a shell, facing outward, and notes on where it closes up.

    Raises GeometryError if the wall leaves no hollow at all.
    """
    inner = _corners_moved(outer, wall_mm) or _drawn_on_grid(outer, wall_mm, what)
    solid = to_manifold(inner, f"{what}: the hollow").simplify(SIMPLIFIED * wall_mm)
    inner = from_manifold(solid)
    return inner, _closed_up(outer, inner, wall_mm, what)


def grown_mesh(outer: Mesh, layer_mm: float, what: str) -> Mesh:
    """Return the surface of a body with a layer of one thickness put on all over it.

    Sharp edges come out round, as everything within `layer_mm` of the body does. Raises
    GeometryError if the result is no closed surface.
    """
    grown = _corners_moved(outer, -layer_mm) or _drawn_on_grid(outer, -layer_mm, what)
    return from_manifold(to_manifold(grown, what).simplify(SIMPLIFIED * layer_mm))


def depth_mm(mesh: Mesh, points: FloatArray) -> FloatArray:
    """Return how deep points lie below the surface, (n,) float [mm]; negative outside."""
    return depth_and_nearest(mesh, points)[0]


def depth_and_nearest(mesh: Mesh, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the depth of points, (n,) float [mm], and the nearest surface points, (n, 3)."""
    if len(points) == 0:
        return np.zeros(0), np.zeros((0, 3))
    distance, nearest, _ = nearest_on(mesh, points)
    return np.where(inside_closed(mesh, points), distance, -distance), nearest


def greatest_depth_mm(mesh: Mesh) -> float:
    """Return the depth of the deepest place in a body, to 0.3 %: the largest ball that fits.

    Depth changes by at most the distance moved, so cubes that can hold no deeper place are
    dropped and the others cut into eight. (In wide flat bodies only the deepest are followed.)
    """
    half = float(mesh.size_mm.max()) / 16
    axes = [np.arange(low + half, high + half, 2 * half) for low, high in mesh.bounds.T]
    centres, best = _grid(axes), 0.0
    while True:
        depth = depth_mm(mesh, centres)
        best = max(best, float(depth.max()))
        chosen = np.argsort(-depth)[:MOST_CUBES]
        chosen = chosen[depth[chosen] + np.sqrt(3) * half > (1 + CLOSE) * best]
        if len(chosen) == 0 or np.sqrt(3) * half < CLOSE * best:
            return best
        half /= 2
        centres = (centres[chosen, None] + half * _EIGHTH).reshape(-1, 3)


def nearest_on(mesh: Mesh, points: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return for each point its distance (n,) [mm], the nearest surface point and its face."""
    squared, face, nearest = igl.point_mesh_squared_distance(
        np.ascontiguousarray(points, dtype=float), mesh.vertices, mesh.faces
    )
    return np.sqrt(np.asarray(squared, float)), np.asarray(nearest, float), np.asarray(face)


def _corners_moved(outer: Mesh, wall_mm: float) -> Mesh | None:
    """Return `outer` with each corner moved one wall below its faces (above them for a wall below
    zero); None if that fails.

    It fails where the moved surface would run through itself: then some of it lies less than
    a wall deep, or a face has turned over.
    """
    corner = outer.triangles
    ahead, behind = np.roll(corner, -1, axis=1) - corner, np.roll(corner, 1, axis=1) - corner
    size = np.linalg.norm(ahead, axis=2) * np.linalg.norm(behind, axis=2)
    cosine = np.einsum("mkd,mkd->mk", ahead, behind) / np.maximum(size, 1e-30)
    weight = np.arccos(np.clip(cosine, -1.0, 1.0)).ravel()
    at, count = outer.faces.ravel(), len(outer.vertices)
    normal = np.repeat(outer.normals, 3, axis=0)
    planes = np.zeros((count, 3, 3))
    wanted = np.zeros((count, 3))
    for i in range(3):
        wanted[:, i] = np.bincount(at, -wall_mm * weight * normal[:, i], count)
        for k in range(3):
            planes[:, i, k] = np.bincount(at, weight * normal[:, i] * normal[:, k], count)
    moved = outer.vertices + solved_planes(planes, wanted, same_plane=0.01)
    inner = Mesh.single_part(moved, outer.faces)
    if (np.einsum("md,md->m", inner.normals, outer.normals) < 0.5).any():
        return None
    spacing = max(np.sqrt(float(inner.areas_mm2.sum()) / 4000), abs(wall_mm))
    probes = from_manifold(to_manifold(inner, "hollow").refine_to_length(spacing))
    error = depth_mm(outer, np.vstack([probes.vertices, probes.centroids])) / wall_mm - 1
    return inner if WALL_ERROR[0] < error.min() and error.max() < WALL_ERROR[1] else None


def _drawn_on_grid(outer: Mesh, wall_mm: float, what: str) -> Mesh:
    """Return the surface one wall deep, drawn through a grid of depths."""
    step = max(STEP_SHARE * float(np.sqrt(outer.areas_mm2.sum())), abs(wall_mm) / 3)
    for _ in range(3):
        values, axes = depth_near(outer, wall_mm, step)
        vertices, faces = contoured(
            values, axes, wall_mm, lambda points: _at_depth(outer, points, wall_mm)
        )
        # A hollow narrower than a grid step can hide between grid points.
        if len(faces) or values.max() + 0.87 * step < wall_mm:
            break
        step /= 2
    if len(faces) == 0:
        raise GeometryError(
            f"{what}: a wall of {wall_mm:g} mm leaves no hollow; the deepest place in the body "
            f"lies {greatest_depth_mm(outer):.4g} mm below its surface. Give a wall_mm of less "
            "than that, or leave it out for a solid"
        )
    vertices, _ = _at_depth(outer, vertices, wall_mm)
    return without_specks(Mesh.single_part(vertices, faces), step)


def depth_near(
    outer: Mesh, wall_mm: float, step: float, thickest_mm: float | None = None
) -> tuple[FloatArray, list[FloatArray]]:
    """Return depths on a grid, exact wherever the depth can be near `wall_mm`, or between that and
    `thickest_mm`; and the grid's axes."""
    margin = 1.37 * COARSE * step + max(-wall_mm, 0.0)
    low = outer.bounds[0] - margin
    counts = np.ceil((outer.size_mm + 2.12 * margin) / (COARSE * step)).astype(int) + 1
    coarse_axes = [low[k] + COARSE * step * np.arange(counts[k]) for k in range(3)]
    coarse = depth_mm(outer, _grid(coarse_axes)).reshape(counts)
    fine_counts = (counts - 1) * COARSE + 1
    axes = [low[k] + step * np.arange(fine_counts[k]) for k in range(3)]
    values = ndimage.zoom(coarse, fine_counts / counts, order=1, grid_mode=False)
    # Depth changes by at most the distance moved, so outside this band no crossing can hide.
    near = 0.87 * COARSE * step
    most = wall_mm if thickest_mm is None else thickest_mm
    band = (values > wall_mm - near) & (values < most + near)
    points = np.stack([axes[k][index] for k, index in enumerate(np.nonzero(band))], axis=1)
    values[band] = depth_mm(outer, points)
    return values, axes


def _grid(axes: list[FloatArray]) -> FloatArray:
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _at_depth(outer: Mesh, points: FloatArray, wall_mm: float) -> tuple[FloatArray, FloatArray]:
    """Move points along the line from their nearest surface point to the wanted depth.

    Returns the points, (n, 3) float [mm], and the unit directions inward, (n, 3) float.
    """
    inward = np.zeros_like(points)
    for _ in range(2):
        depth, nearest = depth_and_nearest(outer, points)
        clear = np.where(np.abs(depth) > 1e-6, depth, np.inf)
        inward = (points - nearest) / clear[:, None]
        points = np.where(np.isfinite(clear)[:, None], nearest + wall_mm * inward, points)
    return points, inward


def without_specks(inner: Mesh, step: float) -> Mesh:
    """Drop hollows too small for the grid to have shape."""
    parts = to_manifold(inner, "hollow").decompose()
    large = [part for part in parts if abs(part.volume()) > (2 * step) ** 3]
    if not large or len(large) == len(parts):
        return inner
    return from_manifold(manifold3d.Manifold.compose(large))


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
