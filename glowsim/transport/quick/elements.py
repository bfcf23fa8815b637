"""Trilinear finite elements on cut cells: from moments of filling to sparse matrices.

Unknowns sit on the corners of grid cells. A cell that the surface cuts is integrated over the
part that lies inside (the finite cell method: Parvizian, Düster and Rank, Computational
Mechanics 41, 121 (2007)), and steps in slope between cut cells are held back by the ghost
penalty (Burman, Comptes Rendus Mathematique 348, 1217 (2010)) so that a corner with only a
sliver of material behind it stays well determined.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import cKDTree

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.voxels import MOMENTS, Filling, Grid

SLIVER = 0.1
"""A node counts as ill supported when the cells around it are filled less than this."""
GHOST = 0.03
"""Strength of the ghost penalty. At 20 cells per radius a sphere's escape fraction changes by
less than 0.02 % for strengths from 0.01 to 0.3. The penalty is kept to ill supported nodes:
spread over all cut cells it makes a slab lit from outside up to 3 % too transparent."""

NODE_MARGIN = 3
"""Node rows are numbered this much longer than the cell rows, so that two steps past the end of
one row never land in the next."""

CORNERS = np.array([(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)], dtype=np.int64)


def _element_tables() -> tuple[FloatArray, FloatArray]:
    """Return the tables that turn moments into stiffness and mass, (27, 64) each.

    Stiffness is the integral of grad N_a . grad N_b, mass that of N_a N_b, over the filled part
    of a unit cell, with N the trilinear shape functions.
    """
    value = [np.array([1.0, -1.0]), np.array([0.0, 1.0])]
    slope = [np.array([-1.0]), np.array([1.0])]

    def product(p: FloatArray, q: FloatArray) -> FloatArray:
        return np.pad(np.convolve(p, q), (0, 4 - len(p) - len(q)))

    stiffness, mass = np.zeros((MOMENTS, 8, 8)), np.zeros((MOMENTS, 8, 8))
    for a, corner in enumerate(CORNERS):
        for b, other in enumerate(CORNERS):
            same = [product(value[corner[k]], value[other[k]]) for k in range(3)]
            mass[:, a, b] = np.einsum("i,j,k->ijk", *same).ravel()
            for axis in range(3):
                factors = list(same)
                factors[axis] = product(slope[corner[axis]], slope[other[axis]])
                stiffness[:, a, b] += np.einsum("i,j,k->ijk", *factors).ravel()
    return stiffness.reshape(MOMENTS, 64), mass.reshape(MOMENTS, 64)


CELLS_AT_ONCE = 1 << 14
"""Cells that are put into a matrix together: each has 64 numbers."""

Short = NDArray[np.int32]
"""Numbers of nodes and places in a matrix, as sparse matrices keep them."""

STIFFNESS, MASS = _element_tables()


class Nodes(Protocol):
    """Where a field's values sit."""

    def locate(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return corner nodes (n, 8) and place in the cell (n, 3) of points."""

    def sampler(self, points: FloatArray) -> sparse.csr_matrix:
        """Return the matrix that reads a field at points, (n, nodes)."""


@dataclass(frozen=True)
class Elements:
    """The cells in use, their corner nodes, and the pattern of the matrices.

    cells   : (c,) int, ascending cell numbers of `grid`
    corners : (c, 8) int, node of each cell corner
    """

    grid: Grid
    cells: IntArray
    corners: IntArray
    node_count: int
    node_key: IntArray
    _indptr: Short
    _indices: Short
    _place: Short

    @classmethod
    def over(cls, grid: Grid, cells: IntArray) -> Elements:
        """Return elements over the given cells (ascending cell numbers)."""
        size = grid.counts + NODE_MARGIN
        index = grid.index(cells)[:, None, :] + CORNERS[None]
        key = (index[..., 0] * size[1] + index[..., 1]) * size[2] + index[..., 2]
        number = np.full(int(np.prod(size)) + 1, -1, dtype=np.int64)
        used = np.zeros(len(number), dtype=bool)
        used[key.ravel()] = True
        node_key = np.nonzero(used)[0]
        number[node_key] = np.arange(len(node_key))
        corners = number[key]
        indptr, indices, slot = _pattern(node_key, number, size)
        place = np.zeros((len(cells), 8, 8), dtype=np.int32)
        for a in range(8):
            for b in range(8):
                step = CORNERS[b] - CORNERS[a] + 1
                place[:, a, b] = slot[corners[:, a], (step[0] * 3 + step[1]) * 3 + step[2]]
        return cls(grid, cells, corners, len(node_key), node_key, indptr, indices, place)

    def matrix(self, stiffness: FloatArray, mass: FloatArray) -> sparse.csr_matrix:
        """Return the assembled matrix for weighted moments, (c, 27) each."""
        data = np.zeros(len(self._indices))
        for first in range(0, len(self.cells), CELLS_AT_ONCE):
            part = slice(first, first + CELLS_AT_ONCE)
            local, place = stiffness[part] @ STIFFNESS + mass[part] @ MASS, self._place[part]
            low = int(place.min())
            total = np.bincount((place - low).ravel(), local.ravel())
            data[low : low + len(total)] += total
        shape = (self.node_count, self.node_count)
        return sparse.csr_matrix((data, self._indices, self._indptr), shape=shape)

    def load(self, moments: FloatArray) -> FloatArray:
        """Return the integral of each node's shape function over weighted moments, (nodes,)."""
        local = moments @ MASS.reshape(MOMENTS, 8, 8).sum(axis=2)
        total = np.bincount(self.corners.ravel(), local.ravel(), self.node_count)
        return np.asarray(total, dtype=float)

    def weighted(self, filling: Filling) -> FloatArray:
        """Return the moments of a filling, one row for each cell in use, (c, 27)."""
        moments = np.zeros((len(self.cells), MOMENTS))
        moments[np.searchsorted(self.cells, filling.cells)] = filling.moments
        return moments

    def locate(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return corner nodes (n, 8) and place in the cell (n, 3) of points.

        A point in a cell that is not in use (a sliver the filling missed) takes the nearest
        cell in use beside it.
        """
        row, local = self.place(points)
        return np.take(self.corner_rows, row, axis=1).T, local

    def place(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the row of the cell of points, (n,), and their place in it, see `locate`."""
        cell, local = self.grid.locate(points)
        row = self.row[cell]
        stray = np.nonzero(row < 0)[0]
        if len(stray):
            row[stray] = self._nearest_cell(points[stray])
            origin = self.grid.low_mm + self.grid.index(self.cells[row[stray]]) * self.grid.cell_mm
            local[stray] = np.clip((points[stray] - origin) / self.grid.cell_mm, 0.0, 1.0)
        return row, local

    @cached_property
    def row(self) -> IntArray:
        """Row of every cell of the grid among those in use, -1 for the others."""
        row = np.full(int(np.prod(self.grid.counts)), -1, dtype=np.int64)
        row[self.cells] = np.arange(len(self.cells))
        return row

    @cached_property
    def corner_rows(self) -> IntArray:
        """Corners, one after the other in memory, as `shape_values` has them."""
        return np.ascontiguousarray(self.corners.T)

    def _nearest_cell(self, points: FloatArray) -> IntArray:
        _, row = self._tree.query(points)
        return np.asarray(row, dtype=np.int64)

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.grid.centres_mm(self.cells))

    def sampler(self, points: FloatArray) -> sparse.csr_matrix:
        """Return the matrix that reads a field at points, (n, nodes)."""
        return sampler_of(*self.locate(points), self.node_count)

    def ghost_penalty(self, filled: FloatArray, weight: FloatArray) -> sparse.csr_matrix:
        """Return the penalty that ties ill supported nodes to a straight line through the next two.

        filled : (c,) float, filled share of each cell;  weight : (c,) float, its stiffness
        coefficient.
        """
        support, strength = self.support(filled), self.strength(weight)
        end, near, far = self.ill_supported(support)
        change = _second_difference(end, near, far, self.node_count)
        total = change.T @ sparse.diags(strength[near]) @ change
        return (GHOST * self.grid.cell_mm) * total.tocsr()

    def support(self, filled: FloatArray) -> FloatArray:
        """Return how much filling each node has around it, (nodes,), at most 1."""
        support = np.zeros(self.node_count)
        for corner in range(8):
            np.add.at(support, self.corners[:, corner], filled / 8)
        return support

    def strength(self, weight: FloatArray) -> FloatArray:
        """Return the greatest coefficient of the cells around each node, (nodes,)."""
        strength = np.zeros(self.node_count)
        for corner in range(8):
            np.maximum.at(strength, self.corners[:, corner], weight)
        return strength

    def ill_supported(self, support: FloatArray) -> tuple[IntArray, IntArray, IntArray]:
        """Return ill supported nodes with the next two on a line that hold them, (m,) each."""
        size = self.grid.counts + NODE_MARGIN
        weak = np.nonzero(support < SLIVER)[0]
        lines = []
        for stride in (size[1] * size[2], size[2], 1):
            for step in (stride, -stride):
                near = found_rows(self.node_key, self.node_key[weak] + step)
                far = found_rows(self.node_key, self.node_key[weak] + 2 * step)
                use = (near >= 0) & (far >= 0) & holds_up(support, weak, near, far)
                lines.append((weak[use], near[use], far[use]))
        end, near, far = (np.concatenate(part) for part in zip(*lines, strict=True))
        return end, near, far


def holds_up(support: FloatArray, end: IntArray, near: IntArray, far: IntArray) -> np.ndarray:
    """Return whether two nodes in line are supported well enough to hold an ill supported end."""
    enough: np.ndarray = support[near] > 2 * support[end]
    return enough & (support[far] >= 0.5 * support[near])


def _second_difference(
    end: IntArray, near: IntArray, far: IntArray, node_count: int
) -> sparse.csr_matrix:
    """Return the matrix of u_end - 2 u_near + u_far, one row each."""
    rows, one = np.arange(len(end)), np.ones(len(end))
    values = np.concatenate([one, -2 * one, one])
    places = (np.tile(rows, 3), np.concatenate([end, near, far]))
    return sparse.csr_matrix((values, places), shape=(len(end), node_count))


def sampler_of(nodes: IntArray, local: FloatArray, size: int) -> sparse.csr_matrix:
    """Return the matrix that reads a field of some size at places in cells, (n, size).

    nodes : (n, 8) int, corners of their cells;  local : (n, 3) float, place in the cell
    """
    indptr = np.arange(0, 8 * len(local) + 1, 8)
    values = shape_values(local).ravel()
    return sparse.csr_matrix((values, nodes.ravel(), indptr), shape=(len(local), size))


def shape_values(local: FloatArray) -> FloatArray:
    """Return the eight trilinear shape functions at places in a cell, (n, 8).

    In memory, one corner's values follow another's: long rows are what arrays are quick at.
    """
    x, y, z = (np.stack([1 - along, along]) for along in local.T)
    return row_products(row_products(x, y), z).T


def shape_slopes(local: FloatArray, direction: FloatArray, cell_mm: float) -> FloatArray:
    """Return the derivatives of the shape functions along unit directions, (n, 8) [1/mm]."""
    x, y, z = (np.stack([1 - along, along]) for along in local.T)
    dx, dy, dz = (np.stack([-along, along]) for along in direction.T / cell_mm)
    across = row_products(dx, y) + row_products(x, dy)
    return (row_products(across, z) + row_products(row_products(x, y), dz)).T


def row_products(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the product of each row with each of the other's, (a, n) and (b, n) -> (a b, n)."""
    return (one[:, None] * other[None]).reshape(len(one) * len(other), -1)


def _pattern(node_key: IntArray, number: IntArray, size: IntArray) -> tuple[Short, Short, Short]:
    """Return CSR indptr and indices of the 27-point pattern, and each node's slots in it.

    In short numbers, as the sparse matrices have them: all matrices then share one pattern.
    """
    count = len(node_key)
    neighbours = np.full((count, 27), -1, dtype=np.int32)
    place = np.stack(np.unravel_index(node_key, tuple(size)), axis=1)
    for slot in range(27):
        step = np.array(np.unravel_index(slot, (3, 3, 3))) - 1
        target = place + step
        inside = ((target >= 0) & (target < size)).all(axis=1)
        key = (target[:, 0] * size[1] + target[:, 1]) * size[2] + target[:, 2]
        neighbours[inside, slot] = number[key[inside]]
    present = neighbours >= 0
    indptr = np.concatenate([[0], np.cumsum(present.sum(axis=1))]).astype(np.int32)
    slots = np.cumsum(present.ravel(), dtype=np.int32).reshape(present.shape) - 1
    return indptr, neighbours[present], np.asarray(slots, np.int32)


def found_rows(keys: IntArray, wanted: IntArray) -> IntArray:
    """Return the row of each wanted key among ascending ones, -1 where it is missing."""
    if len(keys) == 0:
        return np.full(len(wanted), -1, dtype=np.int64)
    row = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[row] == wanted, row, -1)
