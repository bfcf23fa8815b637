"""Faces of a surface and how they join: smoothing over a distance, connected groups."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.sparse.linalg import splu

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, directed_edges

_STEPS = 3
"""Implicit steps that make up one smoothing; more bring its kernel nearer to a Gaussian."""


class Patchwork:
    """The chosen faces of a surface and how they join."""

    def __init__(
        self, surface: Mesh, chosen: NDArray[np.bool_], kind: IntArray | None = None
    ) -> None:
        """Join the `chosen` faces, (m,) bool, across their shared edges.

        kind : (m,) int; faces of different kind are not joined.
        """
        self.faces: IntArray = np.nonzero(chosen)[0]
        self.area = surface.areas_mm2[self.faces]
        kinds = np.zeros(len(self.faces)) if kind is None else kind[self.faces].astype(float)
        self._neighbours = _shared_edges(surface, self.faces, kinds)
        self._factors: dict[float, Any] = {}

    def smoothed(self, values: FloatArray, radius_mm: float) -> FloatArray:
        """Return `values`, (n,) per chosen face, averaged over about `radius_mm` around each.

        Diffusion over the surface for the time that spreads a point to a Gaussian of standard
        deviation `radius_mm` on a plane, in implicit steps; sums over the area are kept.
        """
        if radius_mm <= 0 or len(self.faces) < 2:
            return values
        factor = self._factor(float(radius_mm))
        area = self.area if values.ndim == 1 else self.area[:, None]
        for _ in range(_STEPS):
            values = factor.solve(area * values)
        return values

    def _factor(self, radius_mm: float) -> Any:
        """Return the factorised step of a smoothing, kept for the next time."""
        if radius_mm not in self._factors:
            step = radius_mm**2 / 2 / _STEPS
            out = sparse.diags(np.asarray(self._neighbours.sum(axis=1)).ravel())
            matrix = sparse.diags(self.area) + step * (out - self._neighbours)
            self._factors[radius_mm] = factored(matrix)
        return self._factors[radius_mm]

    def groups(self, chosen: NDArray[np.bool_]) -> list[IntArray]:
        """Return the connected groups among `chosen`, (n,) bool, as rows of the chosen faces."""
        rows = np.nonzero(chosen)[0]
        if len(rows) == 0:
            return []
        count, label = csgraph.connected_components(self._neighbours[rows][:, rows], directed=False)
        return [rows[label == k] for k in range(count)]


def factored(matrix: sparse.spmatrix) -> Any:
    """Return the factors of a symmetric positive definite matrix, (n, n) sparse.

    Ordered and pivoted for symmetry: over a surface a third of the entries of the general way.
    """
    options = {"SymmetricMode": True}
    return splu(matrix.tocsc(), "MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)


def _shared_edges(surface: Mesh, faces: IntArray, kind: FloatArray) -> sparse.csr_matrix:
    """Return edge length over distance of centres for each pair of joined faces of one kind."""
    corners = surface.faces[faces]
    edges = directed_edges(corners)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort(np.sort(edges, axis=1).T)
    edges, owner = np.sort(edges, axis=1)[order], owner[order]
    same = (edges[1:] == edges[:-1]).all(axis=1) & (kind[owner[1:]] == kind[owner[:-1]])
    one, other, edge = owner[:-1][same], owner[1:][same], edges[:-1][same]
    length = np.linalg.norm(surface.vertices[edge[:, 0]] - surface.vertices[edge[:, 1]], axis=1)
    centre = surface.centroids[faces]
    apart = np.linalg.norm(centre[one] - centre[other], axis=1)
    weight = length / np.maximum(apart, 1e-9)
    size = (len(faces), len(faces))
    half = sparse.csr_matrix((weight, (one, other)), shape=size)
    return (half + half.T).tocsr()
