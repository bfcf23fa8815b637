"""Which faces of a printed shell are its inner skin: those that look into its hollow.

A shell that is open to the room is one closed surface; nothing in the file says where its outside
ends and its inside begins. A face on the inside sees less of the open sky than the face behind it,
across the wall. That difference is noisy face by face, so the border is drawn as the cheapest cut:
the least length of border, cheapest along sharp edges such as those of a rim, against the sky that
faces on the wrong side would see (Boykov & Kolmogorov, IEEE PAMI 26, 1124 (2004), for cuts of this
kind).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, directed_edges
from glowsim.geometry.rays import AHEAD_MM, BoolArray, RayTarget, cosine_rays

RAYS = 32
"""Rays that look for the sky from each face."""
BORDER = 0.02
"""Price of a border: this share of the body's size, times its length [mm2]."""
SHARP = 0.2
"""A border along a sharp outward edge costs this share of one across a smooth place."""
SHARP_COSINE = 0.87
"""Faces that meet at more than 30 degrees meet in a sharp edge."""
_WHOLE = 1e9
"""All of the sky, in the whole numbers that the cut is worked out in."""
_STEPS = np.array([0.8566749, 0.7338919, 0.6287067, 0.5385973])
"""Powers of the root of x^5 = x + 1: even points in four dimensions (see `transport.air`)."""


@dataclass(frozen=True)
class Skins:
    """The two sides of a shell.

    inner        : (m,) bool, faces of the inner skin
    thickness_mm : (m,) float, how much material lies behind each face
    """

    inner: BoolArray
    thickness_mm: FloatArray


def skins_of(mesh: Mesh) -> Skins:
    """Return which faces of a closed surface look into a hollow that is open to the room."""
    target = RayTarget.of(mesh)
    sky = _sky(mesh, target)
    behind = target.first_hits(mesh.centroids - AHEAD_MM * mesh.normals, -mesh.normals)
    met = behind.face >= 0
    thickness = np.where(met, behind.distance_mm + AHEAD_MM, 0.0)
    wall = weighted_median(thickness[met], mesh.areas_mm2[met])
    # Where there is far more behind a face than a wall, the face behind says little of it.
    weight = np.minimum(1.0, wall / np.maximum(thickness, 1e-9)) * mesh.areas_mm2 * met
    toward_inner = weight * (sky[behind.face] - sky)
    return Skins(_cheapest_cut(mesh, toward_inner), thickness)


def weighted_median(values: FloatArray, weights: FloatArray) -> float:
    """Return the value that half of the weight lies below; 0 for none."""
    if len(values) == 0:
        return 0.0
    order = np.argsort(values)
    run = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(run, run[-1] / 2)]])


def _sky(mesh: Mesh, target: RayTarget) -> FloatArray:
    """Return the share of the sky that each face sees, by the cosine law, (m,) float."""
    number = np.arange(len(mesh.faces))
    place = np.arange(RAYS)[None, :, None] * _STEPS + number[:, None, None] * _STEPS[::-1]
    u, v, turn, share = np.moveaxis(place % 1.0, -1, 0)
    root = np.sqrt(u)[..., None]
    v = v[..., None]
    a, b, c = mesh.triangles.transpose(1, 0, 2)[:, :, None]
    origin = (1 - root) * a + root * (1 - v) * b + root * v * c
    origin = origin + AHEAD_MM * mesh.normals[:, None]
    hits = target.first_hits(origin.reshape(-1, 3), cosine_rays(mesh.normals, turn, share))
    return np.asarray((hits.face.reshape(-1, RAYS) < 0).mean(axis=1))


def neighbours(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return the edges of a closed surface: their two faces and their two corners, (e, 2) each."""
    directed = directed_edges(faces)
    owner = np.tile(np.arange(len(faces)), 3)
    ends = np.sort(directed, axis=1)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, owner = ends[order], owner[order]
    paired = np.flatnonzero((ends[1:] == ends[:-1]).all(axis=1))
    return np.column_stack([owner[paired], owner[paired + 1]]), ends[paired]


def _cheapest_cut(mesh: Mesh, toward_inner: FloatArray) -> BoolArray:
    """Return the faces on the inner side of the cheapest border, (m,) bool."""
    count = len(mesh.faces)
    pair, ends = neighbours(mesh.faces)
    length = np.linalg.norm(mesh.vertices[ends[:, 0]] - mesh.vertices[ends[:, 1]], axis=1)
    normal, centre = mesh.normals, mesh.centroids
    cosine = np.einsum("ed,ed->e", normal[pair[:, 0]], normal[pair[:, 1]])
    outward = np.einsum("ed,ed->e", normal[pair[:, 0]], centre[pair[:, 1]] - centre[pair[:, 0]]) < 0
    price = BORDER * np.sqrt(float(mesh.areas_mm2.sum())) * length
    price = np.where(outward & (cosine < SHARP_COSINE), SHARP, 1.0) * price
    scale = _WHOLE / max(float(np.abs(toward_inner).sum()), 1e-30)
    price = np.maximum(np.minimum(price * scale, _WHOLE), 1)
    source, sink = count, count + 1
    inward, away = np.flatnonzero(toward_inner > 0), np.flatnonzero(toward_inner < 0)
    rows = np.concatenate(
        [pair[:, 0], pair[:, 1], np.full(len(inward), source), away]
    )  # fmt: skip
    columns = np.concatenate([pair[:, 1], pair[:, 0], inward, np.full(len(away), sink)])
    room = np.concatenate(
        [price, price, *(np.abs(toward_inner[k]) * scale for k in (inward, away))]
    )
    graph = sparse.csr_matrix(
        (room.astype(np.int32), (rows, columns)), shape=(count + 2, count + 2)
    )
    left = graph - maximum_flow(graph, source, sink).flow
    left.data = np.where(left.data > 0, left.data, 0)
    left.eliminate_zeros()
    reached = breadth_first_order(left, source, return_predecessors=False)
    inner = np.zeros(count + 2, dtype=bool)
    inner[reached] = True
    return inner[:count]
