"""A regular grid laid over a body, and how much of each cell a solid or a surface fills.

Filling is kept as the 27 moments x^a y^b z^c (a, b, c = 0, 1, 2) over the filled part of each
cell, in the cell's own coordinates 0..1. Any product of two trilinear functions integrates
exactly from these, so curved bodies need no staircase: a cell cut by the surface counts for
just the part of it that lies inside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.rays import inside_spans

MOMENTS = 27
LINES_PER_CELL = 4
"""Lines along which a cell is cut, per cell edge: 16 lines measure a cell."""

# Lines through the corners and edges of a mesh make crossings doubtful. People model on round
# numbers, so the grid keeps off them.
_OFFSET = np.array([0.3713, 0.4127, 0.3391])


@dataclass(frozen=True)
class Grid:
    """Cells of edge `cell_mm`; cell (0, 0, 0) has its lowest corner at `low_mm`."""

    low_mm: FloatArray
    cell_mm: float
    counts: IntArray

    @classmethod
    def around(cls, bounds_mm: FloatArray, cell_mm: float) -> Grid:
        """Return a grid that covers `bounds_mm`, (2, 3) float."""
        low = bounds_mm[0] - _OFFSET * cell_mm
        counts = np.ceil((bounds_mm[1] - low) / cell_mm + 0.2).astype(np.int64)
        return cls(low, cell_mm, counts)

    def locate(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the cell of each point, (n,) int, and its place in it, (n, 3) float in 0..1."""
        scaled = (points - self.low_mm) / self.cell_mm
        index = np.clip(np.floor(scaled).astype(np.int64), 0, self.counts - 1)
        return self.flat(index), scaled - index

    def flat(self, index: IntArray) -> IntArray:
        """Return cell numbers of (n, 3) cell indices."""
        return (index[:, 0] * self.counts[1] + index[:, 1]) * self.counts[2] + index[:, 2]

    def index(self, cells: IntArray) -> IntArray:
        """Return (n, 3) cell indices of cell numbers."""
        return np.stack(np.unravel_index(cells, tuple(self.counts)), axis=1)

    def centres_mm(self, cells: IntArray) -> FloatArray:
        """Return the centres of cells, (n, 3) float [mm]."""
        return self.low_mm + (self.index(cells) + 0.5) * self.cell_mm


@dataclass(frozen=True)
class Filling:
    """Moments of the filled part of each cell that is not empty.

    cells   : (k,) int, ascending cell numbers
    moments : (k, 27) float; column 0 is the filled share of the cell (or area in mm2)
    """

    cells: IntArray
    moments: FloatArray


def solid_filling(solid: Mesh, grid: Grid) -> Filling:
    """Return the filling of the grid by a closed solid; moments are shares of a cell."""
    line, low, high, place = _spans_in_cells(solid, grid)
    full = _full_cells(line, low, high, place, grid)
    cell, x, y, z0, z1 = _pieces(line, low, high, place, grid, full)
    fine = 1.0 / LINES_PER_CELL
    along = [_powers(x, x + fine), _powers(y, y + fine), _powers(z0, z1)]
    cut, row = np.unique(cell, return_inverse=True)
    moments = _summed(along, row, len(cut))
    whole = np.nonzero(full)[0]
    unit = np.array([1.0, 1 / 2, 1 / 3])
    whole_moments = np.broadcast_to(np.einsum("a,b,c->abc", unit, unit, unit).ravel(), (1, MOMENTS))
    cells = np.concatenate([cut, whole])
    moments = np.vstack([moments, np.repeat(whole_moments, len(whole), axis=0)])
    order = np.argsort(cells)
    return Filling(cells[order], moments[order])


def surface_filling(points: FloatArray, areas_mm2: FloatArray, grid: Grid) -> Filling:
    """Return the filling of the grid by a surface sampled at `points`, each standing for an area.

    points : (n, 3) float [mm];  areas_mm2 : (n,) float. Moments are in mm2.
    """
    cell, local = grid.locate(points)
    cells, row = np.unique(cell, return_inverse=True)
    along = [
        np.stack([np.ones(len(local)), local[:, k], local[:, k] ** 2], axis=1) for k in (0, 1, 2)
    ]
    along[0] = along[0] * areas_mm2[:, None]
    return Filling(cells, _summed(along, row, len(cells)))


def _summed(along: list[FloatArray], row: IntArray, rows: int) -> FloatArray:
    """Add up the products of powers along x, y and z that fall into each row, (rows, 27)."""
    moments = np.zeros((rows, MOMENTS))
    for column in range(MOMENTS):
        a, b, c = np.unravel_index(column, (3, 3, 3))
        weight = along[0][:, a] * along[1][:, b] * along[2][:, c]
        moments[:, column] = np.bincount(row, weight, rows)
    return moments


def _powers(low: FloatArray, high: FloatArray) -> FloatArray:
    """Return the integrals of 1, t and t^2 from low to high, (n, 3)."""
    return np.stack([high - low, (high**2 - low**2) / 2, (high**3 - low**3) / 3], axis=1)


def _spans_in_cells(solid: Mesh, grid: Grid) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
    """Return the spans of all measuring lines, in cell units, and each line's fine x, y index."""
    lines = np.ones((LINES_PER_CELL, LINES_PER_CELL), dtype=bool)
    place = np.argwhere(np.kron(_columns_under(solid, grid), lines))
    step = grid.cell_mm / LINES_PER_CELL
    x, y = (grid.low_mm[:2] + (place + 0.5) * step).T
    line, low, high = inside_spans(solid, x, y)
    low = (low - grid.low_mm[2]) / grid.cell_mm
    high = (high - grid.low_mm[2]) / grid.cell_mm
    return line, low, high, place


def _columns_under(solid: Mesh, grid: Grid) -> np.ndarray:
    """Return which columns of the grid some face's bounding box touches, (nx, ny) bool."""
    scaled = (solid.triangles[:, :, :2] - grid.low_mm[:2]) / grid.cell_mm
    most = grid.counts[:2]
    first = np.clip(np.floor(scaled.min(axis=1)), 0, most).astype(np.int64)
    last = np.clip(np.floor(scaled.max(axis=1)) + 1, 0, most).astype(np.int64)
    # Plus one where a box begins and minus one where it ends, summed up along both axes.
    change = np.zeros(most + 1, dtype=np.int64)
    for i, j, sign in ((first, first, 1), (first, last, -1), (last, first, -1), (last, last, 1)):
        np.add.at(change, (i[:, 0], j[:, 1]), sign)
    return change.cumsum(axis=0).cumsum(axis=1)[:-1, :-1] > 0


def _full_cells(
    line: IntArray, low: FloatArray, high: FloatArray, place: IntArray, grid: Grid
) -> np.ndarray:
    """Return which cells are filled along every one of their lines, (cells,) bool."""
    nx, ny, nz = grid.counts
    column = (place[line, 0] // LINES_PER_CELL) * ny + place[line, 1] // LINES_PER_CELL
    first, last = np.ceil(low).astype(np.int64), np.floor(high).astype(np.int64)
    some = last > first
    size = int(nx * ny * (nz + 1))
    change = np.bincount(column[some] * (nz + 1) + first[some], minlength=size)
    change -= np.bincount(column[some] * (nz + 1) + last[some], minlength=size)
    covered = np.cumsum(change.reshape(-1, nz + 1), axis=1)[:, :-1]
    return (covered == LINES_PER_CELL**2).ravel()


def _pieces(
    line: IntArray,
    low: FloatArray,
    high: FloatArray,
    place: IntArray,
    grid: Grid,
    full: np.ndarray,
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Cut the spans at cell borders and keep the pieces that lie in cells not filled whole.

    Returns the cell of each piece, the lower x and y of the fine column around its line, and
    its lower and upper z, all within the cell (0..1).
    """
    first, last = np.floor(low).astype(np.int64), np.floor(high).astype(np.int64)
    many = last - first + 1
    span = np.repeat(np.arange(len(line)), many)
    k = first[span] + np.arange(len(span)) - np.repeat(np.cumsum(many) - many, many)
    coarse = place // LINES_PER_CELL
    cell = (coarse[line[span], 0] * grid.counts[1] + coarse[line[span], 1]) * grid.counts[2] + k
    partial = ~full[cell]
    span, k, cell = span[partial], k[partial], cell[partial]
    z0 = np.clip(low[span] - k, 0.0, 1.0)
    z1 = np.clip(high[span] - k, 0.0, 1.0)
    within = (place[line[span]] % LINES_PER_CELL) / LINES_PER_CELL
    return cell, within[:, 0], within[:, 1], z0, z1
