"""Light boards that stand apart in a body: each group of them is cut out by itself, and kept.

Beside a board that moves the others need not be cut out again: what they change lies in other
cells, so that matrices and readings of all of them are sums.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.voxels import Grid
from glowsim.transport.problem import OpaqueBoard
from glowsim.transport.quick.assembly import PartedMatrix
from glowsim.transport.quick.boardlines import BoardLines
from glowsim.transport.quick.elements import Elements, sampler_of
from glowsim.transport.quick.ground import Band, Ground, Optics
from glowsim.transport.quick.parted import Parted

APART = 3
"""Cells between boards from which on they are cut out apart: what a board changes reaches two
nodes beyond its cells, along the lines of the ghost penalty."""
_SLACK = 0.06
"""A board reaches this much of a cell beyond its faces: see `parts` for where it looks there."""


def key_of(boards: Sequence[OpaqueBoard]) -> str:
    """Return what tells boards from others: where they stand, their outlines and reflectances."""
    key = b"".join(
        array.tobytes()
        for board in boards
        for array in (board.shape.frame, board.front, board.back)
    )
    sizes = [(b.shape.size_mm, b.shape.thickness_mm, b.shape.bore_mm) for b in boards]
    return f"{key.hex()} {sizes}"


def groups_of(boards: Sequence[OpaqueBoard], grid: Grid) -> list[IntArray]:
    """Return the numbers of the boards that stand together, group by group."""
    if len(boards) == 1:
        return [np.zeros(1, dtype=np.int64)]
    boxes = [BoardLines(board.shape).reach(grid, _SLACK) for board in boards]
    low, high = (np.array(side) for side in zip(*boxes, strict=True))
    near = (low[:, None] < high[None] + APART).all(axis=2)
    count, label = csgraph.connected_components(near & near.T, directed=False)
    return [np.nonzero(label == k)[0] for k in range(count)]


@dataclass(frozen=True)
class Cut:
    """A group of boards cut out of a body, with the matrices of the bands, kept once asked for."""

    parted: Parted
    _matrices: Kept[PartedMatrix] = field(default_factory=lambda: Kept(3), repr=False)

    @classmethod
    def of(cls, ground: Ground, boards: Sequence[OpaqueBoard]) -> Cut | None:
        """Cut boards out; None where none of them touches scattering material."""
        parted = Parted.of(ground, boards)
        return None if parted is None else cls(parted)

    def matrix(self, band: Band) -> PartedMatrix:
        """Return the matrix of one band."""
        return self._matrices.get(band.optics.band, lambda: self.parted.matrix(band))


@dataclass(frozen=True)
class Cuts:
    """All groups of boards in a body; the nodes each adds come after those of the one before.

    numbers : of each group, the boards' numbers among the body's;  boards : how many there are
    """

    ground: Ground
    cuts: tuple[Cut, ...]
    numbers: tuple[IntArray, ...]
    boards: int

    @classmethod
    def of(
        cls, ground: Ground, boards: Sequence[OpaqueBoard], known: Kept[Cut | None]
    ) -> Cuts | None:
        """Cut boards out, or take those cut before; None where none touches scattering material."""
        cuts, numbers = [], []
        for group in groups_of(boards, ground.elements.grid):
            mine = tuple(boards[k] for k in group)
            cut = known.get(key_of(mine), partial(Cut.of, ground, mine))
            if cut is not None:
                cuts.append(cut)
                numbers.append(group)
        return cls(ground, tuple(cuts), tuple(numbers), len(boards)) if cuts else None

    @property
    def elements(self) -> Elements:
        """The grid's."""
        return self.ground.elements

    @cached_property
    def more(self) -> tuple[int, ...]:
        """How many nodes come before those of each group, and how many all add."""
        added = [len(cut.parted.origin) for cut in self.cuts]
        return (0, *np.cumsum(added).tolist())

    @property
    def size(self) -> int:
        """Number of nodes."""
        return self.elements.node_count + self.more[-1]

    @cached_property
    def origin(self) -> IntArray:
        """The old node in whose place each new one stands, (k,) int."""
        return np.concatenate([cut.parted.origin for cut in self.cuts])

    @cached_property
    def copy(self) -> IntArray:
        """Number of each new node there, from 1 on, (k,) int."""
        own = self.elements.node_count
        return np.concatenate([cut.parted.parts.copy[own:] for cut in self.cuts])

    def matrix(self, band: Band, like: Band | None = None) -> PartedMatrix:
        """Return the matrix of one band.

        like : a band much the same, whose largest eigenvalue goes for this one too
        """
        change = self._sum([cut.matrix(band).change for cut in self.cuts], square=True)
        largest = max(cut.matrix(like or band).largest for cut in self.cuts)
        return PartedMatrix(band.matrix, change, known_largest=largest)

    def locate(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return corner nodes (n, 8) and place in the cell (n, 3) of points, see `Parted`."""
        row, local = self.elements.place(points)
        nodes = np.take(self.elements.corner_rows, row, axis=1)
        for cut, before in zip(self.cuts, self.more, strict=False):
            cut.parted.renumber(points, row, nodes, before)
        return nodes.T, local

    def sampler(self, points: FloatArray) -> sparse.csr_matrix:
        """Return the matrix that reads a field at points, (n, nodes)."""
        return sampler_of(*self.locate(points), self.size)

    @cached_property
    def volumes_change(self) -> dict[int, FloatArray]:
        """Change of the integral of each shape function over each region, (nodes,) [mm3]."""
        own = self.elements.node_count
        total = {r: np.zeros(self.size) for r in self.ground.regions}
        for cut, before in zip(self.cuts, self.more, strict=False):
            for r, change in cut.parted.volumes_change.items():
                total[r][:own] += change[:own]
                total[r][own + before : before + len(change)] += change[own:]
        return total

    def into_boards(self, optics: Optics) -> sparse.csr_matrix:
        """Return the matrix that reads what flows into each board, (boards, nodes)."""
        flows = []
        for cut, numbers in zip(self.cuts, self.numbers, strict=True):
            flow = cut.parted.into_boards(optics).tocoo()
            places = (numbers[flow.row], flow.col)
            shape = (self.boards, flow.shape[1])
            flows.append(sparse.csr_matrix((flow.data, places), shape=shape))
        return self._sum(flows)

    @cached_property
    def face_mean_change(self) -> sparse.csr_matrix:
        """Change of the matrix that reads the mean of the field on wall faces, (faces, nodes)."""
        return self._sum([cut.parted.face_mean_change for cut in self.cuts])

    def _sum(
        self, matrices: Sequence[sparse.csr_matrix], square: bool = False
    ) -> sparse.csr_matrix:
        """Return the sum of matrices of all groups, the nodes that each adds in their places."""
        if len(matrices) == 1:
            return matrices[0]
        own, size = self.elements.node_count, self.size
        total = None
        for matrix, before in zip(matrices, self.more, strict=False):
            columns = matrix.indices + np.where(matrix.indices >= own, before, 0)
            indptr = matrix.indptr
            if square:
                ends = np.full(size + 1, indptr[-1])
                ends[: own + 1] = indptr[: own + 1]
                ends[own : own + before + 1] = indptr[own]
                ends[own + before : before + len(indptr)] = indptr[own:]
                indptr = ends
            shape = (len(indptr) - 1, size)
            placed = sparse.csr_matrix((matrix.data, columns, indptr), shape=shape)
            total = placed if total is None else total + placed
        return total
