"""Edges that join more than two faces: the faces are paired around each, and parted otherwise.

Where all faces turn outward, the faces around an edge bound wedges of the body in turn. The two
faces of one wedge stay joined; corners are doubled so that wedges which only touch are apart.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from glowsim.geometry.mesh import FloatArray, IntArray, directed_edges


def unzipped(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the surface with no edge on more than two faces; nothing is moved.

    vertices : (n, 3) float;  faces : (m, 3) int. A face left without a partner at such an edge
    gets an open edge there.
    """
    half = directed_edges(faces)
    owner = np.tile(np.arange(len(faces)), 3)
    low, high = half.min(axis=1), half.max(axis=1)
    _, edge, count = np.unique(low * len(vertices) + high, return_inverse=True, return_counts=True)
    order = np.argsort(edge, kind="stable")
    start = np.concatenate([[0], np.cumsum(count)])
    two = np.nonzero(count == 2)[0]
    pairs = [np.column_stack([order[start[two]], order[start[two] + 1]])]
    for number in np.nonzero(count > 2)[0]:
        mine = order[start[number] : start[number + 1]]
        pairs.append(_paired(vertices, faces, half, owner, mine))
    first, second = np.vstack(pairs).T
    corner = _corners_of(faces, half, owner)
    links = []
    for a, b in ((0, 0), (0, 1), (1, 0), (1, 1)):
        same = half[first, a] == half[second, b]
        links.append(np.column_stack([corner[first, a], corner[second, b]])[same])
    joined = np.vstack(links)
    graph = coo_matrix((np.ones(len(joined)), joined.T), shape=(faces.size, faces.size))
    _, new = connected_components(graph, directed=False)
    _, example = np.unique(new, return_index=True)
    return vertices[faces.ravel()[example]], new.reshape(-1, 3).astype(np.int64)


def _corners_of(faces: IntArray, half: IntArray, owner: IntArray) -> IntArray:
    """Return the numbers of the face corners at both ends of each half edge, (3m, 2) int."""
    place = np.repeat(np.arange(3), len(faces))
    return np.column_stack([3 * owner + place, 3 * owner + (place + 1) % 3])


def _paired(
    vertices: FloatArray, faces: IntArray, half: IntArray, owner: IntArray, mine: IntArray
) -> IntArray:
    """Return pairs of half edges, (k, 2) int, each two faces of one wedge of the body.

    Seen along the edge, the body lies before a face that runs with the edge and after one that
    runs against it, counting angles the right-handed way; so the wedges are found as brackets.
    """
    start, end = vertices[half[mine[0]].min()], vertices[half[mine[0]].max()]
    way = (end - start) / max(float(np.linalg.norm(end - start)), 1e-300)
    third = faces[owner[mine]].sum(axis=1) - half[mine].sum(axis=1)
    out = vertices[third] - start
    out = out - np.outer(out @ way, way)
    ahead = out[0] / max(float(np.linalg.norm(out[0])), 1e-300)
    angle = np.arctan2(out @ np.cross(way, ahead), out @ ahead)
    around = mine[np.argsort(angle, kind="stable")]
    opens = half[around, 0] > half[around, 1]  # runs against the edge
    level = np.cumsum(np.where(opens, 1, -1))
    turn = (int(np.argmin(level)) + 1) % len(around)
    around, opens = np.roll(around, -turn), np.roll(opens, -turn)
    waiting: list[int] = []
    found = []
    for number, is_open in zip(around.tolist(), opens.tolist(), strict=True):
        if is_open:
            waiting.append(number)
        elif waiting:
            found.append((waiting.pop(), number))
    return np.array(found, dtype=np.int64).reshape(-1, 2)
