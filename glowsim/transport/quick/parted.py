"""Light boards cut out of a body that is ready, without laying its grid or matrices anew.

The answer is that of a body from which the boards' solids have been cut, on the same grid, each
side of a board with nodes of its own. All that changes lies in the cells around the boards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.voxels import MOMENTS
from glowsim.transport.problem import OpaqueBoard
from glowsim.transport.quick.assembly import Assembly, PartedMatrix
from glowsim.transport.quick.boardlines import BoardLines
from glowsim.transport.quick.elements import MASS, STIFFNESS, row_products, sampler_of, shape_values
from glowsim.transport.quick.ground import Band, Ground, Optics, mean_coefficient
from glowsim.transport.quick.parts import Parts, parts_of, sides_of
from glowsim.transport.quick.regrow import GhostChange, ghost_change
from glowsim.transport.quick.walls import b_of_material

_UNSUPPORTED = 0.3
"""Share of its old diagonal that a node keeps which nothing is left around."""
_NOTHING = 1e-9
"""A node that keeps less than this share of its old diagonal has nothing left around it."""
_LOAD = MASS.reshape(MOMENTS, 8, 8).sum(axis=2)


@dataclass(frozen=True)
class BoardFaces:
    """Faces of boards in parts of cells: one row for each part, board, side and region.

    part, board, region : (q,) int;  front : (q,) bool, the side with the LEDs
    moments : (q, 27) float [mm2]
    """

    part: IntArray
    board: IntArray
    region: IntArray
    front: np.ndarray
    moments: FloatArray

    @classmethod
    def of(cls, parts: Parts) -> BoardFaces:
        """Sum up the points on boards."""
        at = parts.on_boards
        sizes = (len(parts.cell), len(parts.boards), int(at.region.max(initial=0)) + 1, 2)
        keys = np.ravel_multi_index((at.part, at.board, at.region, 1 * at.front), sizes)
        rows, back = np.unique(keys, return_inverse=True)
        moments = _summed(_powers(at.local) * at.areas[:, None], back, len(rows))
        part, board, region, front = np.unravel_index(rows, sizes)
        return cls(part, board, region, front > 0, moments)

    def b(self, boards: Sequence[OpaqueBoard], optics: Optics) -> FloatArray:
        """Return b = 2 n^2 / A of each row, (q,), see `walls.b_of_material`."""
        reflects = np.array([[board.back, board.front] for board in boards])
        index = np.array([optics.index[r] for r in self.region.tolist()])
        mine = reflects[self.board, self.front.astype(np.int64)]
        bare = np.zeros(len(self.part), dtype=bool)
        return b_of_material(index, mine, bare)[:, optics.band]


@dataclass(frozen=True)
class Parted:
    """Boards cut out of a body: geometry alone, for all bands and coefficients.

    The body has n nodes; the boards add k new ones, which come after them. All is fixed once it
    is made, so that any thread may ask.

    corners : (e, 8) int, nodes of the parts left of changed cells, then those of old cells that
              left no part with all their nodes
    moments : of each region, (e, 27), what the parts have, minus what the old cells had
    row     : (t,) int, which of these takes what a changed cell had
    moved   : (w,) int, which points of walls in changed cells have other nodes now, or a board
              over them
    """

    ground: Ground
    boards: tuple[OpaqueBoard, ...]
    parts: Parts
    faces: BoardFaces
    corners: IntArray
    moments: dict[int, FloatArray]
    row: IntArray
    moved: IntArray
    assembly: Assembly
    ghost: GhostChange

    @classmethod
    def of(cls, ground: Ground, boards: Sequence[OpaqueBoard]) -> Parted | None:
        """Cut boards out of a body; None where none of them touches scattering material.

        Raises SolveError for a crowd of boards, see `sides.Layers`.
        """
        parts = parts_of(ground, tuple(BoardLines(board.shape) for board in boards))
        if parts is None:
            return None
        before = ground.elements.corners[parts.rows]
        same = (parts.corners == before[parts.cell]).all(axis=1)
        row = np.full(len(before), -1, dtype=np.int64)
        row[parts.cell[same]] = np.nonzero(same)[0]
        gone = row < 0
        row[gone] = len(same) + np.arange(int(gone.sum()))
        corners = np.concatenate([parts.corners, before[gone]])
        moments = {}
        for r, left in parts.moments.items():
            moments[r] = np.concatenate([left, np.zeros((len(corners) - len(left), MOMENTS))])
            moments[r][row] -= ground.moments[r][parts.rows]
        filled = np.sum([moment[:, 0] for moment in moments.values()], axis=0)
        size = len(parts.copy)
        support = _added(corners, np.repeat(filled / 8, 8), size)
        support[: len(ground.support)] += ground.support
        touched = np.unique(corners)
        return cls(
            ground,
            tuple(boards),
            parts,
            BoardFaces.of(parts),
            corners,
            moments,
            row,
            np.nonzero(~np.append(same, False)[parts.wall_part])[0],
            Assembly.over(corners, parts.copy),
            ghost_change(ground, parts, touched, support),
        )

    @property
    def size(self) -> int:
        """Number of nodes, n + k."""
        return len(self.parts.copy)

    @property
    def origin(self) -> IntArray:
        """The old node in whose place each new one stands, (k,) int."""
        return self.parts.origin

    def matrix(self, band: Band) -> PartedMatrix:
        """Return the matrix of one band."""
        optics, cell = band.optics, self.ground.elements.grid.cell_mm
        stiffness = np.zeros((len(self.corners), MOMENTS))
        mass = self._walls(optics.wall_b)
        for r, moment in self.moments.items():
            stiffness += (optics.diffusion[r] * cell) * moment
            mass += (optics.absorption[r] * cell**3) * moment
        drains = self.faces.b(self.boards, optics)[:, None] * self.faces.moments
        mass += _summed(drains, self.faces.part, len(mass))
        change = self.assembly.matrix(stiffness @ STIFFNESS + mass @ MASS)
        weight = mean_coefficient(self.parts.moments, optics.diffusion)
        change = change + self.ghost.matrix(self.ground, band, weight, self.size)
        before = np.concatenate([band.diagonal, band.diagonal[self.origin]])
        left = change.diagonal()
        left[: len(band.diagonal)] += band.diagonal
        bare = left < _NOTHING * before
        if bare.any():
            change = change + sparse.diags(np.where(bare, _UNSUPPORTED * before, 0.0))
        return PartedMatrix(band.matrix, change.tocsr())

    def locate(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return corner nodes (n, 8) and place in the cell (n, 3) of points, on their own side.

        A point within a board takes what is left of its cell; where nothing is left, light put
        there is lost.
        """
        elements = self.ground.elements
        row, local = elements.place(points)
        nodes = np.take(elements.corner_rows, row, axis=1)
        self.renumber(points, row, nodes)
        return nodes.T, local

    def renumber(self, points: FloatArray, row: IntArray, nodes: IntArray, before: int = 0) -> None:
        """Put the corner nodes of points in parted cells in place of the body's own.

        row : (n,) int, of the points' cells;  nodes : (8, n) int, is changed
        before : how many other new nodes come before those of these boards
        """
        cell = self._changed[row]
        mine = np.nonzero(cell >= 0)[0]
        mine = mine[self._parted[cell[mine]]]
        if len(mine) == 0:
            return
        part = self._part_at(cell[mine], points[mine])
        known = part >= 0
        corners = self.parts.corners[part[known]].T
        own = self.ground.elements.node_count
        nodes[:, mine[known]] = np.where(corners >= own, corners + before, corners)

    def sampler(self, points: FloatArray) -> sparse.csr_matrix:
        """Return the matrix that reads a field at points, (n, nodes and new nodes)."""
        return sampler_of(*self.locate(points), self.size)

    @cached_property
    def volumes_change(self) -> dict[int, FloatArray]:
        """Change of the integral of each shape function over each region, (n + k,) [mm3]."""
        volume = self.ground.elements.grid.cell_mm**3
        return {
            r: _added(self.corners, volume * (moment @ _LOAD), self.size)
            for r, moment in self.moments.items()
        }

    def into_boards(self, optics: Optics) -> sparse.csr_matrix:
        """Return the matrix that reads what flows into each board, (boards, n + k)."""
        flux = self.faces.b(self.boards, optics)[:, None] * (self.faces.moments @ _LOAD)
        nodes = self.parts.corners[self.faces.part]
        places = (np.repeat(self.faces.board, 8), nodes.ravel())
        shape = (len(self.boards), self.size)
        return sparse.csr_matrix((flux.ravel(), places), shape=shape)

    @cached_property
    def face_mean_change(self) -> sparse.csr_matrix:
        """Change of the matrix that reads the mean of the field on wall faces, (faces, n + k).

        What a board covers of a face reads as nothing, so that mean times area is still what
        flows through it.
        """
        walls, parts, point = self.ground.walls, self.parts, self._points
        value = shape_values(walls.local[point]) * walls.share[point, None]
        part = parts.wall_part[self.moved]
        open_ = part >= 0
        old = self.ground.elements.corners[parts.rows[parts.wall_cell[self.moved]]]
        new = parts.corners[part[open_]]
        face = walls.face[point]
        # Sorted by points alone: each brings its eight nodes in a row.
        order = np.argsort(np.concatenate([face, face[open_]]), kind="stable")
        values = np.concatenate([-value, value[open_]])[order].ravel()
        nodes = np.concatenate([old, new])[order].ravel()
        each = np.bincount(face, minlength=self.ground.faces)
        each += np.bincount(face[open_], minlength=self.ground.faces)
        indptr = np.concatenate([[0], 8 * np.cumsum(each)])
        return sparse.csr_matrix((values, nodes, indptr), shape=(self.ground.faces, self.size))

    def _walls(self, wall_b: FloatArray) -> FloatArray:
        """Return the change of the surface moments of the walls, (e, 27)."""
        walls, point = self.ground.walls, self._points
        amount = walls.areas[point] * wall_b[walls.face[point]]
        rows = self._wall_rows
        weighted = (rows.data * amount[rows.indices], rows.indices, rows.indptr)
        return np.asarray(sparse.csr_matrix(weighted, shape=rows.shape) @ self._wall_powers)

    @cached_property
    def _wall_rows(self) -> sparse.csr_matrix:
        """Where each point of the walls goes, and where it was: +1 and -1, (e, points)."""
        points = np.arange(len(self.moved))
        part = self.parts.wall_part[self.moved]
        open_ = part >= 0
        row = np.concatenate([part[open_], self.row[self.parts.wall_cell[self.moved]]])
        column = np.concatenate([points[open_], points])
        sign = np.repeat([1.0, -1.0], [int(np.count_nonzero(open_)), len(points)])
        return sparse.csr_matrix((sign, (row, column)), shape=(len(self.corners), len(points)))

    @cached_property
    def _wall_powers(self) -> FloatArray:
        return _powers(self.ground.walls.local[self._points])

    @property
    def _points(self) -> IntArray:
        return self.parts.wall[self.moved]

    @cached_property
    def _changed(self) -> IntArray:
        """Place of every cell in use among the changed ones, -1 for the others."""
        place = np.full(len(self.ground.elements.cells), -1, dtype=np.int64)
        place[self.parts.rows] = np.arange(len(self.parts.rows))
        return place

    @cached_property
    def _parted(self) -> np.ndarray:
        return np.asarray(self.parts.parted.any(axis=1))

    def _part_at(self, cell: IntArray, points: FloatArray) -> IntArray:
        """Return the part of changed cells that points lie in, or the nearest by its sides."""
        digits = sides_of(self.parts, cell, points)
        part = self.parts.find(cell, self.parts.layers.code(digits))
        missing = np.nonzero(part < 0)[0]
        part[missing] = self.parts.nearest(cell[missing], digits[missing])
        return part


def _added(nodes: IntArray, values: FloatArray, size: int) -> FloatArray:
    """Return the sums of values at nodes, (size,)."""
    return np.asarray(np.bincount(nodes.ravel(), values.ravel(), size), dtype=float)


def _powers(local: FloatArray) -> FloatArray:
    """Return the 27 products of powers 0 to 2 of places in a cell, (p, 27)."""
    x, y, z = (np.stack([np.ones(len(local)), t, t**2]) for t in local.T)
    return np.ascontiguousarray(row_products(row_products(x, y), z).T)


def _summed(values: FloatArray, row: IntArray, rows: int) -> FloatArray:
    """Return the sums of values (p, c) that go into each row, (rows, c)."""
    one = np.ones(len(row))
    gather = sparse.csr_matrix((one, (row, np.arange(len(row)))), shape=(rows, len(row)))
    return np.asarray(gather @ values)
