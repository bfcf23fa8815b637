"""Products of fields with the matrix of a grid, row of nodes by row instead of entry by entry.

Nodes that follow each other along z mostly have neighbours that follow each other too: one list
of neighbours does for all of them, and deep within a material one list of entries as well. What
has to be read is then a third of the matrix, and a product takes a third of the time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import BoolArray

LOOSE, ALONG, ALIKE = range(3)
"""Nodes taken one by one; those with the neighbours of the first, one further each; those whose
entries are the first one's too, in threes along z."""
SHORTEST = 4
"""Rows of fewer nodes are loose."""
_SAME = 5e-7
"""Entries this near to those of the node before, over the greatest, count as the same: a few
roundings of single precision."""
UnsignedArray = NDArray[np.uint32]


@dataclass(frozen=True)
class RowwiseMatrix:
    """A square sparse matrix, ready for products in its own numbers.

    csr    : the matrix, columns ascending
    first  : (r + 1,) int, first node of each row of nodes, and the end;  kind : (r,) int
    values : the entries; of nodes in an ALONG row, neighbour by neighbour
    """

    csr: sparse.csr_matrix
    first: UnsignedArray
    kind: UnsignedArray
    indptr: UnsignedArray
    indices: UnsignedArray
    values: FloatArray

    @classmethod
    def of(cls, matrix: sparse.csr_matrix) -> RowwiseMatrix:
        """Find the rows of nodes."""
        indptr, entries = matrix.indptr, np.diff(matrix.indptr)
        node = np.repeat(np.arange(len(entries)), entries)
        like, same = _like_the_last(matrix, entries, node)
        along, deep = _long(like), _long(same) & _in_threes(matrix, entries, node)
        kind = np.where(deep, ALIKE, np.where(along, ALONG, LOOSE))
        turn = kind != np.roll(kind, 1)
        turn |= ((kind == ALONG) & ~like) | ((kind == ALIKE) & ~same)
        turn[0] = True
        first = np.append(np.nonzero(turn)[0], len(entries))
        many = np.diff(first)
        kind = kind[first[:-1]]
        values = matrix.data.copy()
        row = np.repeat(np.arange(len(kind)), many)[node]
        turned = np.nonzero((kind == ALONG)[row])[0]
        node, row = node[turned], row[turned]
        neighbour = turned - indptr[node]
        values[indptr[first[row]] + neighbour * many[row] + node - first[row]] = matrix.data[turned]
        places = [array.astype(np.uint32) for array in (first, kind, indptr, matrix.indices)]
        return cls(matrix, places[0], places[1], places[2], places[3], values)

    def plus(self, change: sparse.csr_matrix, changed: IntArray, field: FloatArray) -> FloatArray:
        """Return the product of this and a change with a field, (n + k, columns).

        change : (n + k, n + k);  changed : (c,) int, its rows that are not empty
        """
        # Compiled code is loaded only where it is needed.
        from glowsim.transport.quick.rowwise_kernels import add_rows, multiply

        out = np.zeros(field.shape[::-1], field.dtype)
        for column, result in zip(np.ascontiguousarray(field.T), out, strict=True):
            multiply(self.first, self.kind, self.indptr, self.indices, self.values, column, result)
            add_rows(changed, change.indptr, change.indices, change.data, column, result)
        return out.T


def _long(like: BoolArray) -> BoolArray:
    """Return which nodes are in a row, each like the last, of at least `SHORTEST`."""
    number = np.cumsum(~like) - 1
    return (np.bincount(number) >= SHORTEST)[number]


def _in_threes(matrix: sparse.csr_matrix, entries: IntArray, node: IntArray) -> BoolArray:
    """Return which nodes have all their neighbours in threes that follow each other along z."""
    place = np.arange(len(node)) - matrix.indptr[node]
    off = (place % 3 > 0) & (matrix.indices != np.roll(matrix.indices, 1) + 1)
    return (entries % 3 == 0) & (np.bincount(node, off, len(entries)) == 0)


def _like_the_last(
    matrix: sparse.csr_matrix, entries: IntArray, node: IntArray
) -> tuple[BoolArray, BoolArray]:
    """Return which nodes have the neighbours of the one before, one further each, and which of
    these its entries too; (n,) each.

    node : of each entry
    """
    last = np.maximum(np.arange(len(node)) - entries[node], 0)
    count = len(entries)
    further = np.bincount(node, matrix.indices != matrix.indices[last] + 1, count) == 0
    like = (entries == np.roll(entries, 1)) & further
    like[0] = False
    size = np.zeros(count, matrix.dtype)
    np.maximum.at(size, node, np.abs(matrix.data))
    off = np.abs(matrix.data - matrix.data[last]) > _SAME * size[node]
    return like, like & (np.bincount(node, off, count) == 0)
