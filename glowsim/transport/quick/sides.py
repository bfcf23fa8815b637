"""On which sides of light boards the parts of cells lie, and which of them hang together.

A part of a cell is labelled by one digit for each layer of boards: +1 ahead of the board there,
-1 behind it, 0 where the board does not part the cell. Boards of one layer stand so far apart
that no cell near one is near another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.errors import SolveError
from glowsim.geometry.mesh import IntArray
from glowsim.geometry.rays import BoolArray
from glowsim.geometry.voxels import Grid
from glowsim.transport.quick.boardlines import BoardLines, Plane
from glowsim.transport.quick.elements import CORNERS

_REACH = 3
"""Cells beside a board in which its sides are told."""
_MOST_LAYERS = 25
"""More boards than this crowded together are not told apart."""


@dataclass(frozen=True)
class Layers:
    """Boards in layers.

    layer : of each board;  count : of layers;  low, high : (boards, 3) int, the cells about each
    """

    grid: Grid
    planes: tuple[Plane, ...]
    layer: tuple[int, ...]
    count: int
    low: IntArray
    high: IntArray

    @classmethod
    def of(cls, boards: Sequence[BoardLines], grid: Grid) -> Layers:
        """Put each board into the first layer where it has room.

        Raises SolveError if more than 25 boards stand within a few cells of one another.
        """
        boxes = [board.box(grid, _REACH) for board in boards]
        low, high = (np.array(side).reshape(-1, 3) for side in zip(*boxes, strict=True))
        layer: list[int] = []
        for k in range(len(boards)):
            near = (low[:k] < high[k]).all(axis=1) & (high[:k] > low[k]).all(axis=1)
            taken = {layer[j] for j in np.nonzero(near)[0]}
            layer.append(next(n for n in range(k + 1) if n not in taken))
        count = max(layer) + 1
        if count > _MOST_LAYERS:
            raise SolveError(
                f"{count} light boards stand within a few cells of one another; give the body a "
                "smaller cell_mm, or use the reference solver"
            )
        return cls(grid, tuple(b.plane(grid) for b in boards), tuple(layer), count, low, high)

    def of_nodes(self, node: IntArray) -> IntArray:
        """Return the digits of nodes at grid places (n, 3), (n, layers); 0 far from a board."""
        digits = np.zeros((len(node), self.count), dtype=np.int64)
        for k, plane in enumerate(self.planes):
            near = ((node >= self.low[k]) & (node <= self.high[k])).all(axis=1)
            digits[near, self.layer[k]] = np.where(plane.ahead(node[near]), 1, -1)
        return digits

    def of_cells(self, index: IntArray) -> IntArray:
        """Return the digits of cells (n, 3), (n, layers): 0 where the mid-plane crosses."""
        digits = np.zeros((len(index), self.count), dtype=np.int64)
        for k, plane in enumerate(self.planes):
            near = ((index >= self.low[k]) & (index < self.high[k])).all(axis=1)
            ahead = plane.ahead(index[near, None] + CORNERS).sum(axis=1)
            digits[near, self.layer[k]] = (ahead == 8).astype(np.int64) - (ahead == 0)
        return digits

    def code(self, digits: IntArray) -> IntArray:
        """Return a number for each row of digits, 0 to 3^layers - 1."""
        return np.asarray((digits + 1) @ 3 ** np.arange(self.count))

    def digits(self, code: IntArray) -> IntArray:
        """Return the digits of numbers."""
        return np.asarray(code[:, None] // 3 ** np.arange(self.count) % 3 - 1)

    @property
    def codes(self) -> int:
        """How many numbers there are."""
        return int(3**self.count)


def clusters(member: BoolArray, own: IntArray, digits: IntArray) -> IntArray:
    """Return to which cluster the parts of cells around nodes belong.

    Parts hang together unless a board has them on opposite sides; a cluster is what is joined by
    any chain of parts (phantom nodes: Hansbo & Hansbo, Comput. Methods Appl. Mech. Engrg. 193,
    3523 (2004)). Cluster 0 is the one on the node's own side, or the first one if that is empty.

    member : (nodes, labels) bool, which labels occur around each node
    own    : (nodes,) int, the label of the node's own place;  digits : (labels, layers) int
    Returns (nodes, labels) int, -1 where the label does not occur.
    """
    keys = np.column_stack([np.packbits(member, axis=1), own.astype(np.int64)])
    _, first, pattern = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    apart: BoolArray = np.any(digits[:, None] * digits[None] < 0, axis=2)
    table = np.stack([_solved(member[k], int(own[k]), apart) for k in first])
    return np.asarray(table[pattern.ravel()])


def _solved(member: BoolArray, own: int, apart: BoolArray) -> IntArray:
    """Return the cluster of each label of one node."""
    cluster = np.full(len(member), -1, dtype=np.int64)
    left = set(np.nonzero(member)[0].tolist())
    number = 0
    seeds = {k for k in left if not apart[own, k]}
    while left:
        reached = seeds or {min(left)}
        left -= reached
        queue = list(reached)
        while queue:
            here = queue.pop()
            cluster[here] = number
            more = {k for k in left if not apart[here, k]}
            left -= more
            queue += more
        number, seeds = number + 1, set()
    return cluster
