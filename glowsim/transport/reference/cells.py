"""A grid that tells a photon which triangles are near, and how far it can go without any.

At the centre of each cell the distance to the nearest triangle is known, and distance changes by
at most the distance moved; so from anywhere in the cell a photon is safe for (distance at the
centre) - (its distance from the centre). Near walls each cell lists the triangles that touch it,
for flights from cell to cell, and those that touch the cube of twice its size about it: from
these a photon knows all walls for at least half a cell ahead.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh

MOST_CELLS = 120_000
"""Grid cells, about, at most."""
TRIANGLES_PER_CELL = 1.0
"""Aimed at, for cells that the surface runs through."""


@dataclass(frozen=True)
class CellGrid:
    """The grid over one body's walls.

    low, cell, counts : lowest corner (3,) [mm], edge [mm], cells along each axis (3,)
    start, listed     : triangles in cell k are listed[start[k]:start[k + 1]]
    about_start, about : the same for the cube of twice its size
    clear_mm          : (cells,) float32, distance from each cell's centre to the nearest triangle
    """

    low: FloatArray
    cell: float
    counts: IntArray
    start: NDArray[np.int32]
    listed: NDArray[np.int32]
    about_start: NDArray[np.int32]
    about: NDArray[np.int32]
    clear_mm: NDArray[np.float32]


def cell_grid(walls: Mesh) -> CellGrid:
    """Return the grid over `walls`."""
    low, high = walls.bounds
    size = high - low
    # The surface runs through about area / cell^2 cells (more at a slant).
    wanted = np.sqrt(TRIANGLES_PER_CELL * walls.areas_mm2.sum() / len(walls.faces))
    cell = float(max(wanted, np.cbrt(np.prod(size) / MOST_CELLS), size.max() / 400))
    low = low - 0.51 * cell
    counts = np.ceil((high + 0.51 * cell - low) / cell).astype(np.int64)
    within = _listed(walls, low, cell, counts, 0.5 * cell)
    about = _listed(walls, low, cell, counts, cell)
    clear = _clear(walls, low, cell, counts, np.diff(within[0]) > 0)
    return CellGrid(low, cell, counts, *within, *about, clear)


def _clear(
    walls: Mesh, low: FloatArray, cell: float, counts: IntArray, crossed: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Return each cell's distance from the walls, 0 where no photon comes: out in the room."""
    rooms, _ = ndimage.label(~crossed.reshape(counts))
    inner = np.nonzero((rooms != rooms[0, 0, 0]).ravel())[0]
    place = np.stack(np.unravel_index(inner, counts), axis=1)
    clear = np.zeros(crossed.shape, dtype=np.float32)
    clear[inner], _, _ = nearest_on(walls, low + (place + 0.5) * cell)
    return clear


def _listed(
    walls: Mesh, low: FloatArray, cell: float, counts: IntArray, half: float
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """List for every cell the triangles that touch the cube of half edge `half` at its centre."""
    corners = walls.triangles
    wider = half / cell - 0.5 + 1e-6
    first = np.floor((corners.min(axis=1) - low) / cell - wider).astype(np.int64)
    last = np.floor((corners.max(axis=1) - low) / cell + wider).astype(np.int64)
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
    for axes in _separating_axes(corners):
        touches = _overlap(axes[face], corners[face], low + (place + 0.5) * cell, half)
        face, place = face[touches], place[touches]
    key = (place[:, 0] * counts[1] + place[:, 1]) * counts[2] + place[:, 2]
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


def _overlap(
    axis: FloatArray, corners: FloatArray, centre: FloatArray, half: float
) -> NDArray[np.bool_]:
    """Return whether triangles and cubes overlap along an axis of each."""
    along = np.einsum("nkd,nd->nk", corners - centre[:, None], axis)
    # A cube of half edge c reaches c (|x| + |y| + |z|) along (x, y, z).
    reach = (half * (1 + 1e-6) + 1e-9) * np.abs(axis).sum(axis=1)
    return (along.min(axis=1) <= reach) & (along.max(axis=1) >= -reach)
