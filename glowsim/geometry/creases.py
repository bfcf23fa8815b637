"""Where a surface runs on smoothly, and where it is creased."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from glowsim.geometry.mesh import IntArray, Mesh

CREASE_DEG = 30.0
"""Faces that meet at more than this keep their own brightness; common practice in modelling."""


def smooth_corners(mesh: Mesh, kind: IntArray) -> tuple[IntArray, int]:
    """Group the corners of a mesh's faces where the surface runs on smoothly.

    Corners belong together when their faces share an edge, are of one `kind`, (k,) int, and
    bend by less than `CREASE_DEG` there. Returns (k, 3) int and the number of groups.
    """
    faces = mesh.faces
    count = len(faces)
    here = np.concatenate([faces[:, 0], faces[:, 1], faces[:, 2]])
    there = np.concatenate([faces[:, 1], faces[:, 2], faces[:, 0]])
    owner = np.tile(np.arange(count), 3)
    local = np.repeat(np.arange(3), count)
    first, second = owner * 3 + local, owner * 3 + (local + 1) % 3
    turned = here > there
    low, high = np.where(turned, second, first), np.where(turned, first, second)
    order = np.lexsort([np.maximum(here, there), np.minimum(here, there)])
    edge = np.column_stack([np.minimum(here, there), np.maximum(here, there)])[order]
    low, high, owner = low[order], high[order], owner[order]
    bend = np.einsum("nd,nd->n", mesh.normals[owner[1:]], mesh.normals[owner[:-1]])
    joined = (edge[1:] == edge[:-1]).all(axis=1)
    joined &= (kind[owner[1:]] == kind[owner[:-1]]) & (bend > np.cos(np.radians(CREASE_DEG)))
    one = np.concatenate([low[:-1][joined], high[:-1][joined]])
    other = np.concatenate([low[1:][joined], high[1:][joined]])
    links = coo_matrix((np.ones(len(one), bool), (one, other)), shape=(3 * count, 3 * count))
    groups, label = connected_components(links, directed=False)
    return label.reshape(-1, 3).astype(np.int64), groups


def smooth_pieces(corner: IntArray, count: int) -> IntArray:
    """Return the smooth piece of surface that each face belongs to, (k,) int.

    corner, count : as `smooth_corners` gives them
    """
    one = np.concatenate([corner[:, 0], corner[:, 1]])
    other = np.concatenate([corner[:, 1], corner[:, 2]])
    links = coo_matrix((np.ones(len(one), dtype=bool), (one, other)), shape=(count, count))
    label: IntArray = connected_components(links, directed=False)[1][corner[:, 0]]
    return label
