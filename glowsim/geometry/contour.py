"""Surfaces drawn through a grid of values, rounded or with their edges and corners kept.

Marching cubes cuts off every edge, by up to a grid step. The sharp surface here is its dual:
one corner for each patch of surface in a grid cell, placed where the planes of that patch
meet (Ju, Losasso, Schaefer, Warren, 'Dual contouring of Hermite data', ACM TOG 21, 339
(2002)), joined by one four-sided face for each corner of the marched surface (Nielson, 'Dual
marching cubes', IEEE Visualization 2004). Being the dual of a closed surface it is closed.
"""

from __future__ import annotations

from collections.abc import Callable

import igl
import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh

PlaceOf = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""Given points near the wanted surface, (n, 3) [mm], return the points of the surface itself
that belong to them, (n, 3) [mm], and its unit normals there, (n, 3)."""

_SAME_PLANE = 0.03
"""Directions in which the normals of a patch vary less than this count as one plane."""
_REACH = 1.8
"""How far a corner may move from the middle of its patch, in grid steps (a cell's diagonal)."""


def marched(
    values: FloatArray, axes: list[FloatArray], level: float
) -> tuple[FloatArray, IntArray]:
    """Return the surface where grid `values` cross `level`, facing toward lower values.

    values : (nx, ny, nz) float;  axes : the grid's coordinates along x, y, z [mm].
    Returns vertices (n, 3) float [mm] and faces (m, 3) int; both empty if nothing crosses.
    """
    nx, ny, nz = values.shape
    # The library's grid runs fastest along x.
    order = (
        np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).transpose(2, 1, 0, 3).reshape(-1, 3)
    )
    flat = np.ascontiguousarray(level - values.transpose(2, 1, 0).ravel())
    vertices, faces, _ = igl.marching_cubes(flat, np.ascontiguousarray(order), nx, ny, nz, 0.0)
    vertices, faces = np.asarray(vertices, float), np.asarray(faces, np.int64)
    if len(faces) == 0:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int64)
    if Mesh.single_part(vertices, faces).volume_mm3 < 0:
        faces = faces[:, ::-1]
    return vertices, faces


def contoured(
    values: FloatArray, axes: list[FloatArray], level: float, place: PlaceOf
) -> tuple[FloatArray, IntArray]:
    """Return the surface where grid `values` cross `level`, with its edges and corners.

    values : (nx, ny, nz) float;  axes : the grid's coordinates along x, y, z, of one step [mm].
    Faces look toward lower values. Returns vertices (n, 3) float [mm] and faces (m, 3) int;
    both empty if nothing crosses.
    """
    step = float(axes[0][1] - axes[0][0])
    low = np.array([axis[0] for axis in axes])
    # Crossings keep off the grid points, so that each lies on one grid edge.
    spread = max(float(np.ptp(values)), 1e-12)
    at_node = np.abs(values - level) < 1e-6 * spread
    values = np.where(at_node, level + 1e-6 * spread, values)
    vertices, faces = marched(values, axes, level)
    if len(faces) == 0:
        return vertices, faces
    scaled = (vertices - low) / step
    pairs, corner, patch = _patches(scaled, faces, np.array(values.shape))
    points, normals = place(vertices)
    new_vertices = _corners(points[corner], normals[corner], patch, step)
    quads = _quads(scaled, values, level, pairs, patch)
    return new_vertices, _halved(new_vertices, quads)


def _patches(
    scaled: FloatArray, faces: IntArray, counts: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Find the patches: pieces of the surface that hang together within one grid cell.

    Returns the (cell, corner) pairs that occur: their sorted keys cell * corners + corner, the
    corner of each, and the patch of each.
    """
    cell = np.floor(scaled[faces].mean(axis=1)).astype(np.int64)
    number = (cell[:, 0] * counts[1] + cell[:, 1]) * counts[2] + cell[:, 2]
    key = number[:, None] * len(scaled) + faces
    pairs, use = np.unique(key.ravel(), return_inverse=True)
    use = use.reshape(-1, 3)
    links = np.concatenate([use[:, 0], use[:, 1]]), np.concatenate([use[:, 1], use[:, 2]])
    graph = coo_matrix((np.ones(len(links[0])), links), shape=(len(pairs), len(pairs)))
    _, patch = connected_components(graph, directed=False)
    return pairs, pairs % len(scaled), patch.astype(np.int64)


def _corners(points: FloatArray, normals: FloatArray, patch: IntArray, step: float) -> FloatArray:
    """Return for each patch the point nearest to all of its planes, (patches, 3) float [mm].

    Where the planes leave a direction open, the middle of the patch decides.
    """
    count = int(patch.max()) + 1
    many = np.bincount(patch, minlength=count)[:, None]
    middle = np.stack([np.bincount(patch, points[:, k], count) for k in range(3)], axis=1) / many
    height = np.einsum("nd,nd->n", normals, points - middle[patch])
    wanted = np.zeros((count, 3))
    planes = np.zeros((count, 3, 3))
    for i in range(3):
        wanted[:, i] = np.bincount(patch, normals[:, i] * height, count)
        for k in range(3):
            planes[:, i, k] = np.bincount(patch, normals[:, i] * normals[:, k], count)
    move = solved_planes(planes, wanted, _SAME_PLANE)
    move[np.linalg.norm(move, axis=1) > _REACH * step] = 0.0
    return middle + move


def solved_planes(planes: FloatArray, wanted: FloatArray, same_plane: float) -> FloatArray:
    """Return the least moves that bring points onto their planes, (n, 3) float.

    planes : (n, 3, 3) float, sum of the outer products of the planes' normals
    wanted : (n, 3) float, sum of the normals times the distance to move along them
    Directions whose eigenvalue is less than `same_plane` of the greatest are left alone.
    """
    value, vector = np.linalg.eigh(planes)
    firm = value > same_plane * np.maximum(value[:, -1:], 1e-12)
    inverse = np.where(firm, 1.0 / np.where(firm, value, 1.0), 0.0)
    return np.asarray(np.einsum("nij,nj,nkj,nk->ni", vector, inverse, vector, wanted))


def _quads(
    scaled: FloatArray,
    values: FloatArray,
    level: float,
    pairs: IntArray,
    patch: IntArray,
) -> IntArray:
    """Return the four patches around each corner of the marched surface, in order, (n, 4) int.

    Each corner lies on an edge of the grid, which four cells share.
    """
    rows = np.arange(len(scaled))
    axis = np.abs(scaled - np.round(scaled)).argmax(axis=1)
    node = np.round(scaled).astype(np.int64)
    node[rows, axis] = np.floor(scaled[rows, axis]).astype(np.int64)
    quads = np.zeros((len(scaled), 4), np.int64)
    for k, (first, second) in enumerate(((-1, -1), (0, -1), (0, 0), (-1, 0))):
        cell = node.copy()
        cell[rows, (axis + 1) % 3] += first
        cell[rows, (axis + 2) % 3] += second
        number = (cell[:, 0] * values.shape[1] + cell[:, 1]) * values.shape[2] + cell[:, 2]
        quads[:, k] = patch[np.searchsorted(pairs, number * len(scaled) + rows)]
    upward = values[node[:, 0], node[:, 1], node[:, 2]] >= level
    return np.where(upward[:, None], quads, quads[:, ::-1])


def _halved(vertices: FloatArray, quads: IntArray) -> IntArray:
    """Cut each four-sided face along its shorter diagonal; return (2 n, 3) int."""
    place = vertices[quads]
    first = np.linalg.norm(place[:, 0] - place[:, 2], axis=1)
    second = np.linalg.norm(place[:, 1] - place[:, 3], axis=1)
    along_first = (first <= second)[:, None]
    one = np.where(along_first, quads[:, [0, 1, 2]], quads[:, [0, 1, 3]])
    other = np.where(along_first, quads[:, [0, 2, 3]], quads[:, [1, 2, 3]])
    return np.vstack([one, other])
