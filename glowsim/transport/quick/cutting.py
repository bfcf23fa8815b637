"""Cells that light boards cut: what is left of them, and on which side of which board.

Each cell is measured along 16 lines, as `geometry.voxels` does, but along the axis of the grid
that crosses the board most steeply: exact along the lines, so that a board may be far thinner
than a cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import BoolArray
from glowsim.geometry.voxels import LINES_PER_CELL, MOMENTS, Grid
from glowsim.transport.quick.boardlines import BoardLines
from glowsim.transport.quick.ground import Ground, across
from glowsim.transport.quick.sides import Layers

LINES = LINES_PER_CELL**2
_SHORTEST = 1e-7
"""Pieces shorter than this, in cells, are left out."""


@dataclass(frozen=True)
class Pieces:
    """Pieces of lines in material outside the boards.

    cell : (p,) int, which cell;  code : (p,) int, its sides;  region : (p,) int
    line : (p,) int, 0 to 15, which of its lines;  low, high : (p,) float, from where to where
    """

    cell: IntArray
    code: IntArray
    region: IntArray
    line: IntArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class Zone:
    """The cells near boards.

    rows : (z,) int, ascending rows of cells in use;  index : (z, 3) int, their grid places
    axis : (z,) int, along which each is measured
    digits : (z, layers) int, sides of cells that no board parts (see `Layers`)
    parted : (z, layers) bool, where a board parts the cell;  solid : (z,) bool, some board in it
    near   : of each board, places among `rows` of the cells near it
    """

    rows: IntArray
    index: IntArray
    axis: IntArray
    digits: IntArray
    parted: BoolArray
    solid: BoolArray
    near: tuple[IntArray, ...]
    pieces: Pieces


def measure(
    ground: Ground, boards: tuple[BoardLines, ...], layers: Layers, found: Sequence[IntArray]
) -> Zone:
    """Cut all cells near boards along their lines.

    found : of each board, ascending rows of the cells in use near it
    """
    rows = np.unique(np.concatenate(found))
    near = tuple(np.searchsorted(rows, mine) for mine in found)
    index = ground.elements.grid.index(ground.elements.cells[rows])
    axis = np.zeros(len(rows), dtype=np.int64)
    for board, mine in zip(boards[::-1], near[::-1], strict=True):
        axis[mine] = board.axis
    whole = ground.filled_whole(rows)
    digits = layers.of_cells(index)
    parted, solid = np.zeros(digits.shape, dtype=bool), np.zeros(len(rows), dtype=bool)
    parts = []
    for along in np.unique(axis):
        for cut in (False, True):
            mine = np.nonzero((axis == along) & ((whole < 0) == cut))[0]
            if len(mine):
                batch = _Batch(ground, boards, layers, mine, index[mine], int(along), near)
                parted[mine] = batch.parted(digits[mine])
                pieces, meets = batch.pieces(digits[mine], parted[mine], whole[mine])
                solid[mine] = meets
                parts.append(pieces)
    names = ("cell", "code", "region", "line", "low", "high")
    joined = Pieces(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))
    return Zone(rows, index, axis, digits, parted, solid, near, joined)


class _Batch:
    """Cells measured along one axis, all filled whole or all not."""

    def __init__(
        self,
        ground: Ground,
        boards: tuple[BoardLines, ...],
        layers: Layers,
        cells: IntArray,
        index: IntArray,
        axis: int,
        near: tuple[IntArray, ...],
    ) -> None:
        self._ground, self._layers, self._cells = ground, layers, cells
        self._axis, self._index = axis, index
        grid = ground.elements.grid
        self._start = _line_starts(grid, index, axis)
        way = np.zeros(3)
        way[axis] = grid.cell_mm
        self._boards = []
        for board, mine, layer in zip(boards, near, layers.layer, strict=True):
            places = _among(mine, cells)
            if len(places):
                start = board.shape.local(self._start[places].reshape(-1, 3))
                step = way @ board.shape.frame[:3, :3]
                if abs(step[2]) < 1e-9 * grid.cell_mm:
                    step = step + np.array([0.0, 0.0, 1e-9 * grid.cell_mm])
                self._boards.append((board, places, layer, start, step))

    def parted(self, digits: IntArray) -> BoolArray:
        """Return which cells are parted: those whose section of the mid-plane is mostly board.

        Half, so that the outline of what is parted is as often too wide as too narrow.
        """
        grid = self._ground.elements.grid
        parted = np.zeros(digits.shape, dtype=bool)
        for board, places, layer, start, step in self._boards:
            at = (-board.thickness / 2 - start[:, 2]) / step[2]
            inside = (at >= 0) & (at < 1)
            covered = np.zeros(len(at), dtype=bool)
            section = start[inside] + at[inside, None] * step
            covered[inside] = board.shape.covers(section)
            many = inside.reshape(-1, LINES).sum(axis=1)
            share = covered.reshape(-1, LINES).sum(axis=1) / np.maximum(many, 1)
            # A corner that no line meets goes by the middle of the cell.
            middle = grid.low_mm + (self._index[places] + 0.5) * grid.cell_mm
            by_middle = board.shape.covers(board.shape.local(middle))
            crossed = digits[places, layer] == 0
            parted[places, layer] = crossed & np.where(many > 0, share > 0.5, by_middle)
        return parted

    def pieces(
        self, digits: IntArray, parted: BoolArray, whole: IntArray
    ) -> tuple[Pieces, BoolArray]:
        """Return the pieces of material outside the boards, and which cells boards stand in."""
        row, low, high, region = self._segments(whole)
        middle = (low + high) / 2
        cell = row // LINES
        solid = np.zeros(len(row), dtype=bool)
        sides = digits[cell]
        for board, places, layer, start, step in self._boards:
            mine, at = _of_lines(row, places, len(self._cells))
            local = start[at] + middle[mine, None] * step
            solid[mine] |= board.holds(local)
            ahead = np.where(local[:, 2] >= -board.thickness / 2, 1, -1)
            cut = parted[cell[mine], layer]
            sides[mine[cut], layer] = ahead[cut]
        meets = np.bincount(cell[solid], minlength=len(self._cells)) > 0
        out = ~solid
        code = self._layers.code(sides[out])
        where = (self._cells[cell[out]], code, region[out], row[out] % LINES)
        return Pieces(*where, low[out], high[out]), meets

    def _segments(self, whole: IntArray) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
        """Cut each line wherever anything may change; keep what lies in material.

        Returns the line of each segment, its lower and upper end, and its region.
        """
        lines = len(self._cells) * LINES
        columns: dict[tuple[int, int], FloatArray] = {}
        for board, places, layer, start, step in self._boards:
            at = (places[:, None] * LINES + np.arange(LINES)).ravel()
            for k, found in enumerate(board.breaks(start, step)):
                columns.setdefault((layer, k), np.zeros(lines))[at] = found
        spans = {} if whole[0] >= 0 else self._spans()
        ends = [end for pair in spans.values() for end in (*pair[0].T, *pair[1].T)]
        bounds = np.stack([*columns.values(), *ends, np.zeros(lines), np.ones(lines)], axis=1)
        np.clip(bounds, 0.0, 1.0, out=bounds)
        bounds.sort(axis=1)
        row, piece = np.nonzero(np.diff(bounds, axis=1) > _SHORTEST)
        low, high = bounds[row, piece], bounds[row, piece + 1]
        if whole[0] >= 0:
            return row, low, high, whole[row // LINES]
        middle, region = (low + high) / 2, np.full(len(row), -1, dtype=np.int64)
        for r, (first, last) in spans.items():
            inside = (first[row] < middle[:, None]) & (middle[:, None] < last[row])
            region[inside.any(axis=1)] = r
        keep = region >= 0
        return row[keep], low[keep], high[keep], region[keep]

    def _spans(self) -> dict[int, tuple[FloatArray, FloatArray]]:
        """Return where lines run inside each region, within their cells, (lines, s) each."""
        grid, axes = self._ground.elements.grid, across(self._axis)
        column = self._index[:, axes[0]] * grid.counts[axes[1]] + self._index[:, axes[1]]
        _, first, back = np.unique(column, return_index=True, return_inverse=True)
        points = self._start[first].reshape(-1, 3)
        line = (back.ravel()[:, None] * LINES + np.arange(LINES)).ravel()
        floor = self._start[:, :, self._axis].reshape(-1, 1)
        found = {}
        for r, probes in self._ground.probes.items():
            low, high = probes[self._axis].spans(points)
            found[r] = ((low[line] - floor) / grid.cell_mm, (high[line] - floor) / grid.cell_mm)
        return found


def moments_of(
    pieces: Pieces, part: IntArray, parts: int, axis: IntArray, regions: tuple[int, ...]
) -> dict[int, FloatArray]:
    """Return the moments of parts of cells, (parts, 27) for each region, as shares of a cell.

    part : (p,) int, the part each piece belongs to;  axis : (parts,) int, of their lines
    """
    fine = np.arange(LINES_PER_CELL) / LINES_PER_CELL
    flat = np.stack([_rise(fine, fine + 1 / LINES_PER_CELL, n) for n in (1, 2, 3)], axis=1)
    # Line number u * 4 + v: its powers along the first two axes.
    table = np.einsum("ua,vb->uvab", flat, flat).reshape(LINES, 9)
    moments = {}
    for r in regions:
        mine = pieces.region == r
        place = part[mine] * LINES + pieces.line[mine]
        low, high = pieces.low[mine], pieces.high[mine]
        rises = [np.bincount(place, _rise(low, high, n), parts * LINES) for n in (1, 2, 3)]
        along = np.stack(rises, axis=1).reshape(parts, LINES, 3)
        turned = np.einsum("pls,lt->pts", along, table, optimize=True).reshape(parts, 3, 3, 3)
        moment = np.zeros((parts, 3, 3, 3))
        for k in range(3):
            here = axis == k
            # Powers along (k + 1, k + 2, k) become powers along x, y, z.
            moment[here] = turned[here].transpose(0, *(1 + np.argsort(across(k))))
        moments[r] = moment.reshape(parts, MOMENTS)
    return moments


def _rise(low: FloatArray, high: FloatArray, n: int) -> FloatArray:
    """Return the integral of t^(n - 1) from low to high."""
    return np.asarray((high**n - low**n) / n)


def _line_starts(grid: Grid, index: IntArray, axis: int) -> FloatArray:
    """Return where the 16 lines of cells start, (z, 16, 3) [mm]."""
    first, second, _ = across(axis)
    fine = (np.arange(LINES_PER_CELL) + 0.5) / LINES_PER_CELL
    offset = np.zeros((LINES, 3))
    offset[:, first] = np.repeat(fine, LINES_PER_CELL)
    offset[:, second] = np.tile(fine, LINES_PER_CELL)
    return np.asarray(grid.low_mm + (index[:, None] + offset) * grid.cell_mm)


def _of_lines(row: IntArray, places: IntArray, cells: int) -> tuple[IntArray, IntArray]:
    """Return which segments lie on the lines of some cells, and the number of their line there."""
    if len(places) == cells:
        return np.arange(len(row)), row
    place = np.full(cells, -1, dtype=np.int64)
    place[places] = np.arange(len(places))
    mine = np.nonzero(place[row // LINES] >= 0)[0]
    return mine, place[row[mine] // LINES] * LINES + row[mine] % LINES


def _among(mine: IntArray, cells: IntArray) -> IntArray:
    """Return the places in `cells` of those that are in `mine` (both ascending)."""
    return np.nonzero(np.isin(cells, mine, assume_unique=True))[0]
