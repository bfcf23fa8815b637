"""A body's problem as plain arrays, the way the photon loop reads it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem, Emitters
from glowsim.transport.reference.cells import CellGrid, cell_grid

Int32 = NDArray[np.int32]


class Media(NamedTuple):
    """Regions; the last row is the room."""

    kind: Int32
    mu_a: FloatArray
    mu_s: FloatArray
    g: FloatArray
    index: FloatArray
    reflectance: FloatArray
    least_mu_a: FloatArray


class Walls(NamedTuple):
    """Wall faces: a corner, two edges, unit normal, the regions on either side, the coat."""

    corner: FloatArray
    edge_1: FloatArray
    edge_2: FloatArray
    normal: FloatArray
    inside: Int32
    outside: Int32
    coat: Int32


class Coats(NamedTuple):
    """Layers on walls."""

    reflectance: FloatArray
    transmittance: FloatArray
    straight: FloatArray


class Lamp(NamedTuple):
    """The emitters of one light; `running` adds up their shares."""

    position: FloatArray
    direction: FloatArray
    exponent: FloatArray
    running: FloatArray
    region: Int32


class Grid(NamedTuple):
    """See `cells.CellGrid`."""

    low: FloatArray
    cell: float
    counts: NDArray[np.int64]
    start: Int32
    listed: Int32
    clear: NDArray[np.float32]


class Tally(NamedTuple):
    """What a run of photons adds up to.

    out, square, direct : (faces, 3), weights leaving, their squares, those never scattered
    heading             : (faces, 3), direct weight times direction, all bands together
    absorbed            : (regions, 3);  coats, lost, roulette : (3,)
    events              : (4,) int: scatterings, searches for a wall, lost photons, jumps
    """

    out: FloatArray
    square: FloatArray
    direct: FloatArray
    heading: FloatArray
    absorbed: FloatArray
    coats: FloatArray
    lost: FloatArray
    roulette: FloatArray
    events: NDArray[np.int64]

    def add(self, other: Tally) -> None:
        """Add another run to this one."""
        for mine, more in zip(self, other, strict=True):
            mine += more


class Packed(NamedTuple):
    """Everything about a body but its lamps."""

    media: Media
    coats: Coats
    walls: Walls
    grid: Grid


def packed(problem: BodyProblem, band_mu_s: FloatArray) -> Packed:
    """Return the arrays of a body; band_mu_s : (regions,) float, scattering of the bands run."""
    grid = cell_grid(problem.walls)
    return Packed(_media(problem, band_mu_s), _coats(problem), _walls(problem), _grid(grid))


def lamp_of(emitters: Emitters, light: int) -> Lamp:
    """Return one light's emitters."""
    mine = emitters.of(light)
    running = np.cumsum(mine.share) / mine.share.sum()
    return Lamp(
        np.ascontiguousarray(mine.position, dtype=float),
        np.ascontiguousarray(mine.direction, dtype=float),
        mine.exponent.astype(float),
        running,
        mine.region.astype(np.int32),
    )


def empty_tally(problem: BodyProblem) -> Tally:
    """Return a tally of nothing."""
    faces, regions = len(problem.walls.faces), len(problem.media)
    per_face = [np.zeros((faces, 3)) for _ in range(4)]
    rest = [np.zeros(3) for _ in range(3)]
    return Tally(*per_face, np.zeros((regions, 3)), *rest, np.zeros(4, dtype=np.int64))


def _media(problem: BodyProblem, band_mu_s: FloatArray) -> Media:
    media = problem.media
    mu_a = np.array([m.mu_a_per_mm for m in media] + [np.zeros(3)])
    reflectance = [np.zeros(3) if m.reflectance is None else m.reflectance for m in media]
    return Media(
        np.array([m.kind for m in media] + [1], dtype=np.int32),
        mu_a,
        np.append(band_mu_s, 0.0),
        np.array([m.g for m in media] + [0.0]),
        np.array([m.refractive_index for m in media] + [1.0]),
        np.array([*reflectance, np.zeros(3)]),
        mu_a.min(axis=1),
    )


def _coats(problem: BodyProblem) -> Coats:
    # One empty row stands in where a body has none, so that the arrays keep their shape.
    layers = problem.layers
    return Coats(
        np.array([layer.reflectance for layer in layers]).reshape(-1, 3),
        np.array([layer.transmittance for layer in layers]).reshape(-1, 3),
        np.array([layer.open_fraction for layer in layers], dtype=float),
    )


def _walls(problem: BodyProblem) -> Walls:
    triangles = problem.walls.triangles
    return Walls(
        np.ascontiguousarray(triangles[:, 0]),
        np.ascontiguousarray(triangles[:, 1] - triangles[:, 0]),
        np.ascontiguousarray(triangles[:, 2] - triangles[:, 0]),
        np.ascontiguousarray(problem.walls.normals),
        problem.inside.astype(np.int32),
        problem.outside.astype(np.int32),
        problem.coat.astype(np.int32),
    )


def _grid(grid: CellGrid) -> Grid:
    return Grid(
        np.ascontiguousarray(grid.low),
        grid.cell,
        grid.counts,
        grid.start,
        grid.listed,
        grid.clear_mm,
    )
