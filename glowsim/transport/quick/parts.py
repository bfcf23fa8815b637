"""The parts into which light boards cut cells, with the nodes of each.

Nodes on the two sides of a board are not shared: where the parts around a node do not hang
together, each further cluster of parts gets a node of its own (phantom nodes, see
`sides.clusters`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import BoolArray
from glowsim.geometry.voxels import Grid
from glowsim.transport.quick.boardlines import BoardLines, face_points
from glowsim.transport.quick.cutting import Zone, measure, moments_of
from glowsim.transport.quick.elements import NODE_MARGIN, Elements, found_rows
from glowsim.transport.quick.ground import Ground
from glowsim.transport.quick.sides import Layers, clusters

POINTS_PER_CELL = 2.5
"""Points along a cell edge that stand for the faces of a board."""
_OFF = (1e-4, 0.05)
"""How far off a board's face, in cells, is looked for the material it touches. Where lines missed
a sliver of it, a little further."""
_CORNER_STRIDES = np.array([4, 2, 1])
"""Numbers of corners, as `elements.CORNERS` has them."""


@dataclass(frozen=True)
class OnBoards:
    """Points of board faces that touch scattering material.

    part : (p,) int, the part of a cell they touch;  local : (p, 3) float, place in its cell
    areas : (p,) float [mm2];  board, region : (p,) int;  front : (p,) bool, beside the LEDs
    """

    part: IntArray
    local: FloatArray
    areas: FloatArray
    board: IntArray
    region: IntArray
    front: BoolArray


@dataclass(frozen=True)
class Parts:
    """The cells that boards change, and the parts left of them.

    rows     : (t,) int, ascending rows of changed cells among those in use
    digits   : (t, layers) int, sides of cells that are not parted;  parted : (t, layers) bool
    near     : (t, boards) bool, which boards are near each cell
    cell     : (m,) int, place of each part's cell among `rows`, ascending
    code     : (m,) int, its sides (see `Layers`);  corners : (m, 8) int, its nodes
    moments  : its filling by each region, (m, 27), as shares of a cell
    origin   : (k,) int, the old node in whose place each new node stands
    copy     : (n + k,) int, 0 for old nodes, 1 or more for new ones
    wall     : (w,) int, points of walls in changed cells;  wall_cell : (w,) int, place of theirs
    wall_part: (w,) int, the part they touch, -1 where a board covers them
    """

    boards: tuple[BoardLines, ...]
    layers: Layers
    rows: IntArray
    digits: IntArray
    parted: BoolArray
    near: BoolArray
    cell: IntArray
    code: IntArray
    corners: IntArray
    moments: dict[int, FloatArray]
    origin: IntArray
    copy: IntArray
    wall: IntArray
    wall_cell: IntArray
    wall_part: IntArray
    on_boards: OnBoards

    def find(self, cell: IntArray, code: IntArray) -> IntArray:
        """Return the part with given sides of changed cells, -1 where there is none."""
        return found_rows(
            self.cell * self.layers.codes + self.code, cell * self.layers.codes + code
        )

    def ranges(self) -> tuple[IntArray, IntArray]:
        """Return the first part of each changed cell, and how many there are."""
        first = np.searchsorted(self.cell, np.arange(len(self.rows)))
        return first, np.bincount(self.cell, minlength=len(self.rows))

    def nearest(self, cell: IntArray, digits: IntArray) -> IntArray:
        """Return the part of changed cells that is least on other sides, -1 for an empty cell."""
        first, many = self.ranges()
        mine = self.layers.digits(self.code)
        best, least = np.full(len(cell), -1, dtype=np.int64), np.full(len(cell), np.inf)
        for j in range(int(many.max(initial=0))):
            some = j < many[cell]
            part = np.where(some, first[cell] + j, 0)
            off = np.abs(mine[part] - digits).sum(axis=1)
            better = some & (off < least)
            best[better], least[better] = part[better], off[better]
        return best


def parts_of(ground: Ground, boards: tuple[BoardLines, ...]) -> Parts | None:
    """Cut the cells near boards into parts and give each part its nodes; None for no such cells.

    Raises SolveError for a crowd of boards, see `Layers`.
    """
    elements = ground.elements
    rows = [ground.rows_of(board.near_cells(elements.grid)) for board in boards]
    if not any(map(len, rows)):
        return None
    layers = Layers.of(boards, elements.grid)
    zone = measure(ground, boards, layers, rows)
    near = np.zeros((len(zone.rows), len(boards)), dtype=bool)
    for k, mine in enumerate(zone.near):
        near[mine, k] = True
    wall, wall_cell = ground.walls.within(zone.rows)
    digits, covered = _sides(boards, layers, zone, near, wall_cell, ground.walls.points[wall])
    key = zone.pieces.cell * layers.codes + zone.pieces.code
    wall_key = np.where(covered, -1, wall_cell * layers.codes + layers.code(digits))
    keys = _distinct(np.concatenate([key, wall_key[~covered]]), len(zone.rows) * layers.codes)
    on_boards = _on_boards(ground, boards, layers, zone, near, keys)
    parts = Parts(
        boards,
        layers,
        zone.rows,
        zone.digits,
        zone.parted,
        near,
        cell=keys // layers.codes,
        code=keys % layers.codes,
        corners=elements.corners[zone.rows[keys // layers.codes]],
        moments=moments_of(
            zone.pieces,
            np.searchsorted(keys, key),
            len(keys),
            zone.axis[keys // layers.codes],
            ground.regions,
        ),
        origin=np.zeros(0, dtype=np.int64),
        copy=np.zeros(elements.node_count, dtype=np.int64),
        wall=wall,
        wall_cell=wall_cell,
        wall_part=np.where(covered, -1, np.searchsorted(keys, wall_key)),
        on_boards=on_boards,
    )
    changed = zone.solid | zone.parted.any(axis=1)
    changed[parts.cell[on_boards.part]] = True
    if not changed.any():
        return None
    return _with_nodes(elements, _only(parts, changed))


def _sides(
    boards: Sequence[BoardLines],
    layers: Layers,
    cells: Zone | Parts,
    near: BoolArray,
    cell: IntArray,
    points: FloatArray,
) -> tuple[IntArray, BoolArray]:
    """Return the digits of points in cells, (p, layers), and which lie in a board."""
    digits, covered = cells.digits[cell], np.zeros(len(cell), dtype=bool)
    for k, (board, layer) in enumerate(zip(boards, layers.layer, strict=True)):
        mine = np.nonzero(near[cell, k])[0]
        local = board.shape.local(points[mine])
        covered[mine] |= board.holds(local)
        cut = cells.parted[cell[mine], layer]
        ahead = np.where(local[cut, 2] >= -board.thickness / 2, 1, -1)
        digits[mine[cut], layer] = ahead
    return digits, covered


def sides_of(parts: Parts, cell: IntArray, points: FloatArray) -> IntArray:
    """Return the digits of points in changed cells, (p, layers)."""
    return _sides(parts.boards, parts.layers, parts, parts.near, cell, points)[0]


def _on_boards(
    ground: Ground,
    boards: Sequence[BoardLines],
    layers: Layers,
    zone: Zone,
    near: BoolArray,
    keys: IntArray,
) -> OnBoards:
    """Lay points on the faces of boards and find the parts of cells they touch."""
    grid = ground.elements.grid
    found = []
    for k, board in enumerate(boards):
        face = face_points(board.shape, grid.cell_mm / POINTS_PER_CELL)
        left = np.arange(len(face.points))
        for off in _OFF:
            points = face.points[left] + off * grid.cell_mm * face.normals[left]
            cell, local = _zone_cell(ground.elements, zone.rows, points)
            inside = np.nonzero(cell >= 0)[0]
            digits, covered = _sides(boards, layers, zone, near, cell[inside], points[inside])
            part = np.full(len(left), -1, dtype=np.int64)
            part[inside] = found_rows(keys, cell[inside] * layers.codes + layers.code(digits))
            part[inside[covered]] = -1
            region = np.full(len(left), -1, dtype=np.int64)
            there = np.nonzero(part >= 0)[0]
            rows = zone.rows[cell[there]]
            region[there] = _region(ground, rows, points[there], board.axis)
            use = region >= 0
            mine = left[use]
            numbers = np.full(len(mine), k)
            found.append(
                (part[use], local[use], face.areas[mine], numbers, region[use], face.front[mine])
            )
            left = left[~use]
    return OnBoards(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _zone_cell(
    elements: Elements, rows: IntArray, points: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the place among `rows` of the cells of points, -1 elsewhere, and places in them."""
    cell, local = elements.grid.locate(points)
    row = elements.row[cell]
    row[((local < 0) | (local > 1)).any(axis=1)] = -1
    return found_rows(rows, row), local


def _region(ground: Ground, rows: IntArray, points: FloatArray, axis: int) -> IntArray:
    """Return the scattering region points lie in, -1 for none."""
    region = ground.filled_whole(rows)
    doubt = np.nonzero(region < 0)[0]
    at = points[doubt, axis, None]
    for r, probes in ground.probes.items():
        if len(doubt):
            low, high = probes[axis].spans(points[doubt])
            region[doubt[((low < at) & (at < high)).any(axis=1)]] = r
    return region


def _only(parts: Parts, changed: BoolArray) -> Parts:
    """Keep the cells that are changed."""
    number = np.cumsum(changed) - 1
    keep, wall = changed[parts.cell], changed[parts.wall_cell]
    place = np.append(np.cumsum(keep) - 1, -1)
    return replace(
        parts,
        rows=parts.rows[changed],
        digits=parts.digits[changed],
        parted=parts.parted[changed],
        near=parts.near[changed],
        cell=number[parts.cell[keep]],
        code=parts.code[keep],
        corners=parts.corners[keep],
        moments={r: moment[keep] for r, moment in parts.moments.items()},
        wall=parts.wall[wall],
        wall_cell=number[parts.wall_cell[wall]],
        wall_part=place[parts.wall_part[wall]],
        on_boards=replace(parts.on_boards, part=place[parts.on_boards.part]),
    )


def _with_nodes(elements: Elements, parts: Parts) -> Parts:
    """Give each further cluster of parts around a node a node of its own."""
    cut = parts.parted.any(axis=1)
    if not cut.any():
        return parts
    nodes = np.unique(elements.corners[parts.rows[cut]])
    number = np.full(elements.node_count, -1, dtype=np.int64)
    number[nodes] = np.arange(len(nodes))
    beside = _beside(elements, parts, elements.grid.index(elements.cells[parts.rows[cut]]))
    codes = parts.layers.code(parts.layers.of_cells(elements.grid.index(elements.cells[beside])))
    own = parts.layers.code(parts.layers.of_nodes(node_places(elements, nodes)))
    corners = np.concatenate([parts.corners, elements.corners[beside]])
    each = np.concatenate([parts.code, codes])
    labels = np.unique(np.concatenate([each, own]))
    member = np.zeros((len(nodes), len(labels)), dtype=bool)
    at, label = number[corners], np.searchsorted(labels, each)
    touches = at >= 0
    member[at[touches], np.broadcast_to(label[:, None], at.shape)[touches]] = True
    cluster = clusters(member, np.searchsorted(labels, own), parts.layers.digits(labels))
    extra = np.maximum(cluster.max(axis=1, initial=0), 0)
    first = elements.node_count + np.cumsum(extra) - extra
    # Only parts of parted cells can lie in a further cluster.
    at, label = at[: len(parts.cell)], label[: len(parts.cell)]
    which = np.where(at >= 0, cluster[at, label[:, None]], 0)
    renamed = np.where(which > 0, first[at] + which - 1, parts.corners)
    copy = np.arange(int(extra.sum())) - np.repeat(np.cumsum(extra) - extra, extra) + 1
    return replace(
        parts,
        corners=renamed,
        origin=np.repeat(nodes, extra),
        copy=np.concatenate([parts.copy, copy]),
    )


def _beside(elements: Elements, parts: Parts, index: IntArray) -> IntArray:
    """Return the rows of unchanged cells in use that touch the given cells."""
    step = np.stack(np.unravel_index(np.arange(27), (3, 3, 3)), axis=1) - 1
    around = (index[:, None] + step).reshape(-1, 3)
    row = rows_at(elements, around)
    seen = np.zeros(len(elements.cells), dtype=bool)
    seen[row[row >= 0]] = True
    seen[parts.rows] = False
    return np.nonzero(seen)[0]


def rows_at(elements: Elements, index: IntArray) -> IntArray:
    """Return the rows of the cells at grid places (..., 3), -1 where none is in use."""
    grid: Grid = elements.grid
    inside = ((index >= 0) & (index < grid.counts)).all(axis=-1)
    row = np.full(index.shape[:-1], -1, dtype=np.int64)
    row[inside] = elements.row[grid.flat(index[inside])]
    return row


def node_places(elements: Elements, nodes: IntArray) -> IntArray:
    """Return the grid places of nodes, (n, 3)."""
    size = tuple(elements.grid.counts + NODE_MARGIN)
    return np.stack(np.unravel_index(elements.node_key[nodes], size), axis=-1)


def corner_number(place: IntArray) -> IntArray:
    """Return the number of corners given by 0 or 1 along each axis, (..., 3)."""
    return np.asarray(place @ _CORNER_STRIDES)


def _distinct(keys: IntArray, size: int) -> IntArray:
    """Return the different keys, ascending; `size` is above all of them."""
    if size > 10_000_000:
        return np.unique(keys)
    seen = np.zeros(size, dtype=bool)
    seen[keys] = True
    return np.nonzero(seen)[0]
