"""Readings of a field that change in a few places while the rest is kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray


@dataclass(frozen=True)
class Reading:
    """A matrix that reads a field: what was there before, and the change if there is one.

    base : (rows, n);  change : (rows, n + k), or None
    """

    base: sparse.csr_matrix
    change: sparse.csr_matrix | None = None

    def __matmul__(self, field: FloatArray) -> FloatArray:
        """Return what is read, (rows, columns)."""
        if self.change is None:
            return np.asarray(self.base @ field)
        return np.asarray(self.base @ field[: self.base.shape[1]] + self.change @ field)

    def back(self, values: FloatArray) -> FloatArray:
        """Return the transpose times values, (n + k, columns)."""
        load = np.asarray(self.base.T @ values)
        if self.change is None:
            return load
        out = np.asarray(self.change.T @ values)
        out[: len(load)] += load
        return out

    def after(self, matrix: sparse.csr_matrix) -> Reading:
        """Return a matrix times this."""
        change = None if self.change is None else (matrix @ self.change).tocsr()
        return Reading((matrix @ self.base).tocsr(), change)

    def with_rows(self, rows: int) -> Reading:
        """Return the same with empty rows up to a number of them."""
        change = None if self.change is None else _with_rows(self.change, rows)
        return Reading(_with_rows(self.base, rows), change)

    def in_type(self, number_type: type[np.floating]) -> Reading:
        """Return the same in numbers of another type."""
        change = None if self.change is None else self.change.astype(number_type, copy=False)
        return Reading(self.base.astype(number_type, copy=False), change)


def _with_rows(matrix: sparse.csr_matrix, rows: int) -> sparse.csr_matrix:
    more = rows - matrix.shape[0]
    indptr = np.concatenate([matrix.indptr, np.full(more, matrix.indptr[-1])])
    return sparse.csr_matrix((matrix.data, matrix.indices, indptr), (rows, matrix.shape[1]))
