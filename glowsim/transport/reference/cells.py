"""A grid that tells a photon which triangles are near, and where it can go without meeting any.

Each cell names a ball in which there is no wall, as large as may be, that comes close to the wall
next to the cell: from most places in the cell a photon can go a long way in it, and back. Near
walls each cell lists the triangles that touch it, for flights from cell to cell, and those that
touch the cube of twice its size about it: from these a photon knows all walls for at least half
a cell ahead.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.voxels import Grid

MOST_CELLS = 120_000
"""Grid cells, about, at most."""
TRIANGLES_PER_CELL = 1.0
"""Aimed at, for cells that the surface runs through."""
FALLS_SHORT = 0.04
"""Cells by which a ball may end farther from the wall than the distance from the cell's centre."""
GROWTH = 1.02
"""From one distance at which the middle of a ball is tried to the next."""


@dataclass(frozen=True)
class CellGrid:
    """The grid over one body's walls.

    cells             : where they lie
    start, listed     : triangles in cell k are listed[start[k]:start[k + 1]]
    about_start, about : the same for the cube of twice its size
    balls             : (b, 4), middle, seen from their lowest corner, and radius [mm] of balls
                        without walls; the first has radius 0
    ball              : (cells,), which of them a cell names: the first out in the room
    """

    cells: Grid
    start: NDArray[np.int32]
    listed: NDArray[np.int32]
    about_start: NDArray[np.int32]
    about: NDArray[np.int32]
    balls: FloatArray
    ball: NDArray[np.int32]


def cell_grid(walls: Mesh, scatters: NDArray[np.bool_]) -> CellGrid:
    """Return the grid over `walls`.

    scatters : (m, 2) bool, whether there is scattering material inside and outside each face;
               cells that a wall runs through get their balls there if they can
    """
    low, high = walls.bounds
    size = high - low
    # The surface runs through about area / cell^2 cells (more at a slant).
    wanted = np.sqrt(TRIANGLES_PER_CELL * walls.areas_mm2.sum() / len(walls.faces))
    cell = float(max(wanted, np.cbrt(np.prod(size) / MOST_CELLS), size.max() / 400))
    low = low - 0.51 * cell
    counts = np.ceil((high + 0.51 * cell - low) / cell).astype(np.int64)
    cells = Grid(low, cell, counts)
    within, about = _listed(walls, cells, 0.5 * cell), _listed(walls, cells, cell)
    balls, ball = _balls(walls, scatters, cells, np.diff(within[0]) > 0)
    return CellGrid(cells, *within, *about, balls, ball)


def _balls(
    walls: Mesh, scatters: NDArray[np.bool_], cells: Grid, crossed: NDArray[np.bool_]
) -> tuple[FloatArray, NDArray[np.int32]]:
    """Return balls without walls, (b, 4), and which of them each cell names."""
    rooms, _ = ndimage.label(~crossed.reshape(cells.counts))
    inner = np.nonzero((rooms != rooms[0, 0, 0]).ravel())[0]
    centre = cells.centres_mm(inner)
    clear = np.zeros(len(crossed))
    clear[inner], nearest, face = nearest_on(walls, centre)
    away = (centre - nearest) / np.maximum(clear[inner], 1e-30)[:, None]
    best = _grown(inner, centre, away, clear, cells)

    # Where the wall has the centre of a cell on its other side, a neighbour's ball serves it.
    outside = np.einsum("nd,nd->n", away, walls.normals[face]) > 0
    served = np.zeros(len(crossed), dtype=np.bool_)
    served[inner] = scatters[face, outside.astype(int)]
    owner = np.arange(len(crossed))
    owner[inner] = best
    lacking = inner[crossed[inner] & ~served[inner]]
    owner[lacking] = _best_neighbour(lacking, owner, served, clear, cells)

    used, place = np.unique(owner[inner], return_inverse=True)
    balls = np.zeros((len(used) + 1, 4))
    balls[1:, :3] = (cells.index(used) + 0.5) * cells.cell_mm
    # Short by more than what is lost in rounding.
    balls[1:, 3] = np.maximum(0.0, clear[used] - 1e-9 * float(cells.counts.max()) * cells.cell_mm)
    ball = np.zeros(len(crossed), dtype=np.int32)
    ball[inner] = place + 1
    return balls, ball


def _grown(
    inner: IntArray,
    centre: FloatArray,
    away: FloatArray,
    clear: FloatArray,
    cells: Grid,
) -> IntArray:
    """Return for each inner cell the one in whose middle a larger ball that serves it stands.

    It is looked for away from the nearest wall. clear : (cells,), distance from each centre [mm]
    """
    best = inner.copy()
    enough = clear[inner] - FALLS_SHORT * cells.cell_mm
    distance = cells.cell_mm
    while distance < clear.max():
        there, _ = cells.locate(centre + distance * away)
        short = np.linalg.norm(cells.centres_mm(there) - centre, axis=1)
        better = clear[there] - short >= enough
        best[better] = there[better]
        distance *= GROWTH
    return best


def _best_neighbour(
    lacking: IntArray,
    owner: IntArray,
    served: NDArray[np.bool_],
    clear: FloatArray,
    cells: Grid,
) -> IntArray:
    """Return, for cells without a ball where it is wanted, the owner of the neighbouring ball that
    comes nearest to their centres; their own where there is none."""
    centre, place = cells.centres_mm(lacking), cells.index(lacking)
    best, least = owner[lacking], np.full(len(lacking), 0.8 * cells.cell_mm)
    for step in np.ndindex(3, 3, 3):
        there = cells.flat(np.clip(place + np.array(step) - 1, 0, cells.counts - 1))
        candidate = owner[there]
        gap = np.linalg.norm(cells.centres_mm(candidate) - centre, axis=1)
        gap = np.where(served[there], gap - clear[candidate], np.inf)
        better = gap < least
        best[better], least[better] = candidate[better], gap[better]
    return best


def _listed(walls: Mesh, cells: Grid, half: float) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """List for every cell the triangles that touch the cube of half edge `half` at its centre."""
    cell, counts = cells.cell_mm, cells.counts
    corners = walls.triangles - cells.low_mm
    wider = half / cell - 0.5 + 1e-6
    first = np.floor(corners.min(axis=1) / cell - wider).astype(np.int64)
    last = np.floor(corners.max(axis=1) / cell + wider).astype(np.int64)
    first, last = np.clip(first, 0, counts - 1), np.clip(last, 0, counts - 1)
    span = last - first + 1
    many = span.prod(axis=1)
    face = np.repeat(np.arange(len(corners)), many)
    offset = np.arange(len(face)) - np.repeat(np.cumsum(many) - many, many)
    width = span[face]
    k = np.stack(
        [
            offset // (width[:, 1] * width[:, 2]),
            (offset // width[:, 2]) % width[:, 1],
            offset % width[:, 2],
        ],
        axis=1,
    )
    place = first[face] + k
    for axis in _separating_axes(corners):
        along = np.einsum("mkd,md->mk", corners, axis)
        # A cube of half edge c reaches c (|x| + |y| + |z|) along (x, y, z).
        reach = (half * (1 + 1e-6) + 1e-9) * np.abs(axis).sum(axis=1)
        least, most = along.min(axis=1) - reach, along.max(axis=1) + reach
        middle = cell * np.einsum("nd,nd->n", place + 0.5, axis[face])
        touches = (least[face] <= middle) & (middle <= most[face])
        face, place = face[touches], place[touches]
    key = cells.flat(place)
    order = np.argsort(key, kind="stable")
    start = np.searchsorted(key[order], np.arange(int(np.prod(counts)) + 1))
    return start.astype(np.int32), face[order].astype(np.int32)


def _separating_axes(corners: FloatArray) -> Iterator[FloatArray]:
    """Yield the directions along which a triangle and a cube can lie apart, (m, 3) float each.

    Those of the cube's own faces are not among them: they are the bounding box.
    """
    edges = np.roll(corners, -1, axis=1) - corners
    yield np.cross(edges[:, 0], edges[:, 1])
    for edge in range(3):
        for axis in np.eye(3):
            yield np.cross(edges[:, edge], axis)
