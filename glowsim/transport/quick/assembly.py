"""Sums of local matrices around light boards, on top of the matrix of a body without them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.quick.elements import CORNERS
from glowsim.transport.quick.multigrid import Multigrid, largest_eigenvalue, product
from glowsim.transport.quick.rowwise import RowwiseMatrix

_STEPS = 27
"""Nodes that share a cell with a node, itself included."""


@dataclass(frozen=True)
class PartedMatrix:
    """The matrix of a body without boards, and what boards change in it; n + k unknowns.

    rowwise : the former once more, ready for products, or None
    known_largest : see `largest`, if it is known
    """

    base: sparse.csr_matrix
    change: sparse.csr_matrix
    rowwise: RowwiseMatrix | None = None
    known_largest: float | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.change.shape[0], self.change.shape[1]

    def __matmul__(self, field: FloatArray) -> FloatArray:
        """Return the product with (n + k,) or (n + k, columns), in the matrix's own precision."""
        if self.rowwise is not None:
            return self.rowwise.plus(self.change, self.changed, field)
        result = product(self.change, field)
        count = self.base.shape[0]
        result[:count] += product(self.base, field[:count])
        return result

    @cached_property
    def changed(self) -> IntArray:
        """Rows in which something changes, (c,) int."""
        return np.nonzero(np.diff(self.change.indptr))[0]

    def diagonal(self) -> FloatArray:
        """Return the diagonal, (n + k,)."""
        diagonal = self.change.diagonal()
        diagonal[: self.base.shape[0]] += self.base.diagonal()
        return np.asarray(diagonal)

    def preconditioner(
        self, base: Multigrid, origin: IntArray, diagonal: FloatArray | None = None
    ) -> Multigrid:
        """Return a multigrid for this matrix on top of one for the base, which stays as it is.

        origin   : (k,) int, the old node in whose place each new one stands
        diagonal : (n,) float, of the base, if it is known
        """
        own = self.base.diagonal() if diagonal is None else diagonal
        whole = self.change.diagonal().astype(float)
        whole[: len(own)] += own
        return base.refined(self, 1.0 / whole, origin, self.largest)

    @cached_property
    def largest(self) -> float:
        """Upper estimate of the largest eigenvalue of D^-1 A where the matrix is changed."""
        if self.known_largest is not None:
            return self.known_largest
        old = self.changed[self.changed < self.base.shape[0]]
        near = self.base[old][:, old].astype(float)
        near.resize((len(self.changed), len(self.changed)))
        near = near + self.change[self.changed][:, self.changed]
        return largest_eigenvalue(near)


@dataclass(frozen=True)
class Assembly:
    """Where the entries of the local matrices go, (e, 64) each, and the rows they make."""

    place: IntArray
    used: IntArray
    indices: IntArray
    indptr: IntArray
    size: int

    @classmethod
    def over(cls, corners: IntArray, copy: IntArray) -> Assembly:
        """Lay out the pattern of elements with the given corners, (e, 8).

        copy : (n + k,) int, 0 for old nodes, 1 or more for new ones that stand in their place
        """
        size, copies = len(copy), int(copy.max(initial=0)) + 1
        nodes = np.zeros(size, dtype=bool)
        nodes[corners.ravel()] = True
        number = np.cumsum(nodes) - 1
        step = (CORNERS[None] - CORNERS[:, None] + 1) @ np.array([9, 3, 1])
        row = number[corners] * (_STEPS * copies)
        place = row[:, :, None] + step * copies + copy[corners][:, None, :]
        columns = np.full(int(nodes.sum()) * _STEPS * copies, -1, dtype=np.int64)
        columns[place] = np.broadcast_to(corners[:, None, :], place.shape)
        used = np.nonzero(columns >= 0)[0]
        counts = np.zeros(size, dtype=np.int64)
        counts[nodes] = (columns >= 0).reshape(-1, _STEPS * copies).sum(axis=1)
        indptr = np.concatenate([[0], np.cumsum(counts)])
        return cls(place.reshape(-1, 64), used, columns[used], indptr, size)

    def matrix(self, local: FloatArray) -> sparse.csr_matrix:
        """Return the sum of local matrices, (e, 64)."""
        values = np.bincount(self.place.ravel(), local.ravel(), int(self.used[-1]) + 1)
        parts = (values[self.used], self.indices, self.indptr)
        return sparse.csr_matrix(parts, shape=(self.size, self.size))
