"""The ghost penalty where light boards cut a body: its lines taken out and drawn anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.quick.elements import GHOST, SLIVER, holds_up
from glowsim.transport.quick.ground import Band, Ground
from glowsim.transport.quick.parts import Parts, corner_number, node_places, rows_at

_TIE = 0.1
"""Strength, in that of the ghost penalty, that keeps an ill supported node near its neighbour
where no line holds it: in a sliver between two boards, say."""
_WAYS = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]])


@dataclass(frozen=True)
class GhostChange:
    """Lines of the ghost penalty that boards take away and those that come instead.

    old, new : end, near and far nodes of the lines, (m,) int each
    tied     : ill supported nodes that no line holds, and the best node beside each
    strong   : (s,) int, nodes whose strength changes
    of_cells : places among `strong` and rows of unchanged cells around them
    of_parts : places among `strong` and parts of changed cells around them
    """

    old: tuple[IntArray, IntArray, IntArray]
    new: tuple[IntArray, IntArray, IntArray]
    tied: tuple[IntArray, IntArray]
    strong: IntArray
    of_cells: tuple[IntArray, IntArray]
    of_parts: tuple[IntArray, IntArray]

    def matrix(
        self, ground: Ground, band: Band, weight: FloatArray, size: int
    ) -> sparse.csr_matrix:
        """Return the change of the penalty, (size, size).

        weight : (parts,) float, stiffness coefficient of each part of a changed cell
        """
        strength = np.concatenate([band.strength, np.zeros(size - len(band.strength))])
        anew = np.zeros(len(self.strong))
        for (place, which), values in ((self.of_cells, band.weight), (self.of_parts, weight)):
            np.maximum.at(anew, place, values[which])
        strength[self.strong] = anew
        lines = np.concatenate([np.stack(self.old, axis=1), np.stack(self.new, axis=1)])
        many = len(self.old[0])
        amount = np.concatenate([-band.strength[self.old[1]], strength[lines[many:, 1]]])
        tie = np.full(len(self.tied[0]), _TIE * max(band.optics.diffusion.values()))
        parts = [
            _squares(lines, np.array([1.0, -2.0, 1.0]), amount),
            _squares(np.stack(self.tied, axis=1), np.array([1.0, -1.0]), tie),
        ]
        row, column, value = (np.concatenate(part) for part in zip(*parts, strict=True))
        value = value * (GHOST * ground.elements.grid.cell_mm)
        return sparse.csr_matrix((value, (row, column)), shape=(size, size))


def ghost_change(
    ground: Ground, parts: Parts, touched: IntArray, support: FloatArray
) -> GhostChange:
    """Work out which lines of the penalty change.

    touched : nodes of changed cells, old and new;  support : (n + k,) float, of all nodes now
    """
    moved = np.zeros(len(support), dtype=bool)
    moved[touched] = True
    gone = moved[ground.weak[0]] | moved[ground.weak[1]] | moved[ground.weak[2]]
    old = (ground.weak[0][gone], ground.weak[1][gone], ground.weak[2][gone])
    ends = np.union1d(touched[support[touched] < SLIVER], old[0])
    ends = ends[support[ends] < SLIVER]
    walker = _Walker(ground, parts, support)
    end, way = np.repeat(ends, 6), np.tile(np.arange(6), len(ends))
    near = walker.next(end, way)
    best = _best(near.reshape(-1, 6), support)
    use = (near >= 0) & (support[near] > 2 * support[end])
    end, way, near = end[use], way[use], near[use]
    far = walker.next(near, way)
    use = (far >= 0) & holds_up(support, end, near, far)
    loose = ~np.isin(ends, end[use]) & (best >= 0)
    tied = (ends[loose], best[loose])
    use &= moved[end] | moved[near] | moved[far]
    new = (end[use], near[use], far[use])
    strong = np.unique(new[1][moved[new[1]]])
    return GhostChange(old, new, tied, strong, *walker.around(strong))


def _best(near: IntArray, support: FloatArray) -> IntArray:
    """Return the best supported of the nodes beside each, (n, 6) to (n,); -1 for none."""
    worth = np.where(near >= 0, support[near], -np.inf)
    return np.asarray(near[np.arange(len(near)), worth.argmax(axis=1)])


def _squares(
    nodes: IntArray, stencil: FloatArray, amount: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the entries of the sum of amount (stencil . u)^2, one term for each row of nodes."""
    one, other = np.repeat(nodes, len(stencil), axis=1), np.tile(nodes, len(stencil))
    value = amount[:, None] * np.outer(stencil, stencil).ravel()
    return one.ravel(), other.ravel(), value.ravel()


class _Walker:
    """Steps from node to node within what hangs together."""

    def __init__(self, ground: Ground, parts: Parts, support: FloatArray) -> None:
        self._elements, self._parts, self._support = ground.elements, parts, support
        nodes = np.concatenate([np.arange(ground.elements.node_count), parts.origin])
        self._origin = nodes
        self._changed = np.full(len(ground.elements.cells) + 1, -1, dtype=np.int64)
        self._changed[parts.rows] = np.arange(len(parts.rows))
        self._first, self._many = parts.ranges()

    def next(self, node: IntArray, way: IntArray) -> IntArray:
        """Return the best supported node beside each along its way, -1 for none."""
        place = node_places(self._elements, self._origin[node])
        step = _WAYS[way]
        axis = way // 2
        offset = np.zeros((len(node), 4, 3), dtype=np.int64)
        each = np.arange(len(node))
        for k, (one, two) in enumerate(((0, 0), (0, -1), (-1, 0), (-1, -1))):
            offset[each, k, (axis + 1) % 3] = one
            offset[each, k, (axis + 2) % 3] = two
            offset[each, k, axis] = np.where(step[each, axis] > 0, 0, -1)
        here = corner_number(-offset)
        there = corner_number(step[:, None] - offset)
        row = rows_at(self._elements, place[:, None] + offset)
        best = np.full(len(node), -1, dtype=np.int64)
        for corners, which, some in self._holders(row):
            holds = some & (corners[which, here] == node[:, None])
            beside = np.where(holds, corners[which, there], -1)
            for k in range(4):
                side = beside[:, k]
                better = (side >= 0) & (self._support[side] > self._strength_of(best))
                best[better] = side[better]
        return best

    def around(
        self, nodes: IntArray
    ) -> tuple[tuple[IntArray, IntArray], tuple[IntArray, IntArray]]:
        """Return which unchanged cells and which parts of changed ones touch nodes."""
        place = node_places(self._elements, self._origin[nodes])
        offset = -np.stack(np.unravel_index(np.arange(8), (2, 2, 2)), axis=-1)
        row = rows_at(self._elements, place[:, None] + offset)
        here = np.broadcast_to(corner_number(-offset), row.shape)
        found: list[tuple[IntArray, IntArray]] = []
        for corners, which, some in self._holders(row):
            holds = some & (corners[which, here] == nodes[:, None])
            found.append((np.nonzero(holds)[0], which[holds]))
        of_parts = [np.concatenate(part) for part in zip(*found[1:], strict=True)]
        none = np.zeros(0, dtype=np.int64)
        return found[0], (of_parts[0], of_parts[1]) if of_parts else (none, none)

    def _holders(self, row: IntArray) -> list[tuple[IntArray, IntArray, np.ndarray]]:
        """Return table of corners, place in it and whether there is one: unchanged cells first."""
        changed = self._changed[row]
        kept = (row >= 0) & (changed < 0)
        holders = [(self._elements.corners, np.where(kept, row, 0), kept)]
        many = np.where(changed >= 0, self._many[changed], 0) if len(self._many) else 0 * row
        for j in range(int(many.max(initial=0))):
            some = many > j
            part = np.where(some, self._first[changed] + j, 0)
            holders.append((self._parts.corners, part, some))
        return holders

    def _strength_of(self, node: IntArray) -> FloatArray:
        return np.where(node >= 0, self._support[node], -np.inf)
