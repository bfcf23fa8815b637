"""Smoothing over a surface: what a patch looks like at a given scale, and what lies around it."""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph
from scipy.sparse.linalg import splu

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.transport.problem import BoolArray

_STEPS = 3
"""Implicit steps that make up one smoothing; more bring its kernel nearer to a Gaussian."""


class Patchwork:
    """The chosen faces of a surface and how they join."""

    def __init__(self, surface: Mesh, chosen: BoolArray) -> None:
        """Join the `chosen` faces, (m,) bool, across their shared edges."""
        self.faces: IntArray = np.nonzero(chosen)[0]
        self.area = surface.areas_mm2[self.faces]
        self._neighbours = _shared_edges(surface, self.faces)

    def smoothed(self, values: FloatArray, radius_mm: float) -> FloatArray:
        """Return `values`, (n,) per chosen face, averaged over about `radius_mm` around each.

        Diffusion over the surface for the time that spreads a point to a Gaussian of standard
        deviation `radius_mm` on a plane, in implicit steps; sums over the area are kept.
        """
        if radius_mm <= 0 or len(self.faces) < 2:
            return values
        step = radius_mm**2 / 2 / _STEPS
        area = sparse.diags(self.area)
        flow = sparse.diags(np.asarray(self._neighbours.sum(axis=1)).ravel()) - self._neighbours
        factor = splu((area + step * flow).tocsc())
        for _ in range(_STEPS):
            values = factor.solve(self.area * values)
        return values

    def groups(self, chosen: BoolArray) -> list[IntArray]:
        """Return the connected groups among `chosen`, (n,) bool, as rows of the chosen faces."""
        rows = np.nonzero(chosen)[0]
        if len(rows) == 0:
            return []
        count, label = csgraph.connected_components(self._neighbours[rows][:, rows], directed=False)
        return [rows[label == k] for k in range(count)]


def _shared_edges(surface: Mesh, faces: IntArray) -> sparse.csr_matrix:
    """Return edge length over distance of centres for each pair of joined faces."""
    corners = surface.faces[faces]
    edges = np.vstack([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]])
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort(np.sort(edges, axis=1).T)
    edges, owner = np.sort(edges, axis=1)[order], owner[order]
    same = (edges[1:] == edges[:-1]).all(axis=1)
    one, other, edge = owner[:-1][same], owner[1:][same], edges[:-1][same]
    length = np.linalg.norm(surface.vertices[edge[:, 0]] - surface.vertices[edge[:, 1]], axis=1)
    centre = surface.centroids[faces]
    apart = np.linalg.norm(centre[one] - centre[other], axis=1)
    weight = length / np.maximum(apart, 1e-9)
    size = (len(faces), len(faces))
    half = sparse.csr_matrix((weight, (one, other)), shape=size)
    return (half + half.T).tocsr()
