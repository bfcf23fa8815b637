"""A body's problem as plain arrays, the way the photon loop reads it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.boards import region_count, with_boards
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.reference.cells import CellGrid, cell_grid
from glowsim.transport.reference.jumps import FAR, NO_JUMPS, jump_rule
from glowsim.transport.reference.passage import passage_table

Int32 = NDArray[np.int32]
ANY = -1
"""Stands in place of a region's row outside a light board."""


class Media(NamedTuple):
    """Regions; the last row is the room.

    kind, n : what it is, refractive index;  mfp : mean free path of scattering [mm]
    mu_a, reflectance : (regions, 3);  g : mean cosine
    decay       : (regions, 3), rate at which diffuse light dies with distance [1/mm]
    ahead, most, large  : see `jumps` [mm];  margin, jump_from, settle : (regions, 2)
    passage     : see `passage`
    """

    kind: Int32
    mu_a: FloatArray
    mfp: FloatArray
    g: FloatArray
    n: FloatArray
    reflectance: FloatArray
    decay: FloatArray
    ahead: FloatArray
    most: FloatArray
    large: FloatArray
    margin: FloatArray
    jump_from: FloatArray
    settle: FloatArray
    passage: FloatArray


class PackedWalls(NamedTuple):
    """Wall faces.

    geometry : (m, 16), what a search reads of a face, side by side:
               0 to 3    unit normal and its product with a corner
               4 to 11   two vectors, each followed by its product with the first corner: what
                         a point's product with them exceeds these by are its shares of the
                         second and third corner
               12, 13    the regions inside and outside; ANY outside a light board, which stands in
                         whatever is there, so that a photon before it keeps its own region
    coat     : (m,)
    row      : (m,), place of the face among those on the room, or -1
    """

    geometry: FloatArray
    coat: Int32
    row: Int32


class Coats(NamedTuple):
    """Layers on walls; `straight` is the share that passes through holes."""

    reflectance: FloatArray
    transmittance: FloatArray
    straight: FloatArray
    roughness: FloatArray


class Lamp(NamedTuple):
    """The emitters of one light; `running` adds up their shares."""

    position: FloatArray
    direction: FloatArray
    exponent: FloatArray
    running: FloatArray
    region: Int32


class PackedGrid(NamedTuple):
    """See `cells.CellGrid`."""

    low: FloatArray
    cell: float
    counts: NDArray[np.int64]
    start: Int32
    listed: Int32
    about_start: Int32
    about: Int32
    balls: FloatArray
    ball: Int32


class Run(NamedTuple):
    """What a run of photons adds up to.

    out, square, direct : (k, 3), weights leaving by each face on the room, their squares, those
                          never scattered
    direct_moment       : (k, 3), direct weight times direction, all bands together
    absorbed            : (regions, 3);  escaped, coats, lost, roulette : (3,)
    events              : (5,) int: scatterings, searches for a wall, lost photons, jumps, photons
                          that circled without end
    """

    out: FloatArray
    square: FloatArray
    direct: FloatArray
    direct_moment: FloatArray
    absorbed: FloatArray
    escaped: FloatArray
    coats: FloatArray
    lost: FloatArray
    roulette: FloatArray
    events: NDArray[np.int64]

    def clear(self) -> None:
        """Set everything to zero."""
        for table in self:
            table[...] = 0


class Group(NamedTuple):
    """Bands that scatter alike and share their paths: (3,) weights at the start, the regions."""

    active: FloatArray
    media: Media


class Packed(NamedTuple):
    """Everything about a body as the photon loop reads it."""

    groups: tuple[Group, ...]
    lamps: tuple[Lamp, ...]
    coats: Coats
    walls: PackedWalls
    grid: PackedGrid


def packed(bare: BodyProblem, jumps: bool) -> Packed:
    """Return the arrays of a body and its boards.

    jumps : whether clear material is crossed in single steps
    """
    problem = with_boards(bare)
    lights = range(problem.emitters.light_count)
    return Packed(
        tuple(_groups(problem, jumps)),
        tuple(_lamp(problem, light) for light in lights),
        _coats(problem),
        _walls(problem, len(bare.walls.faces)),
        _grid(cell_grid(problem.walls, _scatters(problem))),
    )


def empty_run(problem: BodyProblem) -> Run:
    """Return a run of no photons."""
    faces, regions = len(problem.skin), region_count(problem)
    both = np.zeros((faces, 6))
    return Run(
        # Side by side in memory: every photon that gets out adds to both.
        out=both[:, :3],
        square=both[:, 3:],
        direct=np.zeros((faces, 3)),
        direct_moment=np.zeros((faces, 3)),
        absorbed=np.zeros((regions, 3)),
        escaped=np.zeros(3),
        coats=np.zeros(3),
        lost=np.zeros(3),
        roulette=np.zeros(3),
        events=np.zeros(5, dtype=np.int64),
    )


def _groups(problem: BodyProblem, jumps: bool) -> Iterator[Group]:
    """Yield the bands that scatter alike, together."""
    reduced = np.array([m.mu_s_reduced_per_mm for m in problem.media])
    left = [0, 1, 2]
    while left:
        mine = [band for band in left if np.array_equal(reduced[:, band], reduced[:, left[0]])]
        left = [band for band in left if band not in mine]
        active = np.zeros(3)
        active[mine] = 1.0
        yield Group(active, _media(problem, mine, jumps))


def _media(problem: BodyProblem, bands: list[int], jumps: bool) -> Media:
    media = problem.media
    room = np.zeros(3)
    mu_a = np.array([*(m.mu_a_per_mm for m in media), room])
    g = np.array([*(m.g for m in media), 0.0])
    reduced = np.array([*(m.mu_s_reduced_per_mm[bands[0]] for m in media), 0.0])
    mu_s = reduced / (1.0 - g)
    mfp = np.divide(1.0, mu_s, out=np.full(len(mu_s), FAR), where=mu_s > 1.0 / FAR)
    rules = [NO_JUMPS] * len(mu_s)
    if jumps:
        rules = [
            jump_rule(mu_a[k], mu_s[k], g[k], bands, face_index(problem, k))
            for k in range(len(mu_s))
        ]
    return Media(
        np.array([*(m.kind for m in media), Kind.AIR], dtype=np.int32),
        mu_a,
        mfp,
        g,
        np.array([*(m.refractive_index for m in media), 1.0]),
        np.array([*(room if m.reflectance is None else m.reflectance for m in media), room]),
        np.array([rule.decay_per_mm for rule in rules]),
        np.array([rule.ahead_mm for rule in rules]),
        np.array([rule.most_mm for rule in rules]),
        np.array([rule.large_mm for rule in rules]),
        np.array([rule.margin_mm for rule in rules]),
        np.array([rule.from_mm for rule in rules]),
        np.array([rule.settle_mm for rule in rules]),
        passage_table(),
    )


def face_index(problem: BodyProblem, region: int) -> float | None:
    """Return the refractive index of a region relative to what is beyond its walls, counted as 1
    where they send light back diffusely; None if that differs from wall to wall."""
    beyond = np.concatenate(
        [problem.outside[problem.inside == region], problem.inside[problem.outside == region]]
    )
    coated = np.concatenate(
        [problem.coat[problem.inside == region], problem.coat[problem.outside == region]]
    )
    found = set()
    for other in np.unique(beyond[coated < 0]):
        kind = Kind.AIR if other < 0 else problem.media[other].kind
        if kind == Kind.SCATTERS:
            return None
        found.add(problem.media[region].refractive_index if kind == Kind.AIR else 1.0)
    rough = np.array([layer.roughness > 0 for layer in problem.layers] + [False])
    if rough[coated].any():
        return None
    if (coated >= 0).any():
        found.add(1.0)
    return found.pop() if len(found) == 1 else None


def _lamp(problem: BodyProblem, light: int) -> Lamp:
    mine = problem.emitters.of(light)
    return Lamp(
        np.ascontiguousarray(mine.position, dtype=float),
        np.ascontiguousarray(mine.direction, dtype=float),
        mine.exponent.astype(float),
        np.cumsum(mine.share) / mine.share.sum(),
        _numbers(problem)[mine.region],
    )


def _numbers(problem: BodyProblem) -> Int32:
    """Return the row of each region, (regions + 1,); the room, -1, has the last.

    Hollows that run into each other have no wall between them: they count as one.
    """
    kinds = [m.kind for m in problem.media]
    rows = [kinds.index(Kind.AIR) if k == Kind.AIR else r for r, k in enumerate(kinds)]
    return np.array([*rows, len(kinds)], dtype=np.int32)


def _coats(problem: BodyProblem) -> Coats:
    layers = problem.layers
    return Coats(
        np.array([layer.reflectance for layer in layers]).reshape(-1, 3),
        np.array([layer.transmittance for layer in layers]).reshape(-1, 3),
        np.array([layer.open_fraction for layer in layers], dtype=float),
        np.array([layer.roughness for layer in layers], dtype=float),
    )


def _walls(problem: BodyProblem, first_of_boards: int) -> PackedWalls:
    triangles = problem.walls.triangles
    row = np.full(len(triangles), -1, dtype=np.int32)
    row[problem.skin] = np.arange(len(problem.skin))
    corner = triangles[:, 0]
    edge_1, edge_2 = triangles[:, 1] - corner, triangles[:, 2] - corner
    cross = np.cross(edge_1, edge_2)
    # A face without area lets everything past; its neighbours are widened across it.
    scale = 1.0 / np.maximum(np.einsum("md,md->m", cross, cross), 1e-60)[:, None]
    duals = (np.cross(edge_2, cross) * scale, np.cross(cross, edge_1) * scale)
    normal = problem.walls.normals
    geometry = np.zeros((len(triangles), 16))
    for first, vector in ((0, normal), (4, duals[0]), (8, duals[1])):
        geometry[:, first : first + 3] = vector
        geometry[:, first + 3] = np.einsum("md,md->m", vector, corner)
    geometry[:, 12:14] = _numbers(problem)[np.column_stack([problem.inside, problem.outside])]
    geometry[first_of_boards:, 13] = ANY
    return PackedWalls(geometry, problem.coat.astype(np.int32), row)


def _scatters(problem: BodyProblem) -> NDArray[np.bool_]:
    """Return whether there is scattering material inside and outside each face, (m, 2)."""
    region = np.array([*(m.kind == Kind.SCATTERS for m in problem.media), False])
    return region[np.column_stack([problem.inside, problem.outside])]


def _grid(grid: CellGrid) -> PackedGrid:
    return PackedGrid(
        np.ascontiguousarray(grid.cells.low_mm),
        grid.cells.cell_mm,
        grid.cells.counts,
        grid.start,
        grid.listed,
        grid.about_start,
        grid.about,
        grid.balls,
        grid.ball,
    )
