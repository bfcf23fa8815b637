"""Steady and slow heat in one body, on the grid its light is solved on.

The matrix is that of light diffusion with the conductivity in place of D, no absorption, and a
film on every face that borders on something of one temperature: the room, the air of a hollow, a
light board. Boards and hollows are one unknown each, worked out of the system before it is
solved. Everything is linear in the watts, so one field per board answers every drive level.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.electrics.heat_body import HeatBody, Lead
from glowsim.electrics.heat_forms import COPPER_W_MK
from glowsim.errors import SolveError
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.regions import ROOM
from glowsim.geometry.voxels import Filling, Grid, solid_filling, surface_filling
from glowsim.transport.quick.elements import Elements, shape_slopes
from glowsim.transport.quick.multigrid import Multigrid, solve
from glowsim.transport.quick.triangles import surface_points
from glowsim.units import M_PER_MM

HOLLOW_W_M2K = 8.0
"""Film coefficient of walls inside a hollow: radiation 5.5 and still air 2.5 W/m2K."""
BOARD_W_M2K = 15.0
"""Film coefficient of a light board in a hollow: small and some 40 K warmer than its air.
Convection 8 to 12 (small flat plates, Nu = 0.54 Ra^(1/4), McAdams, Heat Transmission, 1954),
radiation 6 to 7 W/m2K."""
TOUCHING_W_M2K = 1000.0
"""Between two boards that touch (common practice, no source)."""
TOLERANCE = 1e-8
"""Relative residual at which the field is taken as solved."""
_CONTACT = 50.0
"""A board that lies in a material passes heat to it through a film this many times better than
one grid cell of the material: as good as none, yet harmless to the solve."""
_LEAD_STEPS = 4
"""Points per grid cell along a lead."""


@dataclass(frozen=True)
class _Films:
    """Points on the faces of conducting regions that border on something else.

    passes_w_k : what the film passes at each point, per kelvin
    lump       : board or hollow beyond the film, -1 for the room
    """

    points: FloatArray
    areas_mm2: FloatArray
    face: IntArray
    passes_w_k: FloatArray
    lump: IntArray


class HeatField:
    """The heat of one body.

    A field is (nodes + lumps,) K above the room: the grid's nodes, then boards and hollows.
    rise_k_w : (nodes + lumps, boards) float, the field of one watt in each board [K/W]
    """

    def __init__(self, body: HeatBody) -> None:
        """Build and solve. Raises SolveError if heat has no way out, or for no convergence."""
        self.body = body
        self._grid = self._laid_grid()
        self._assemble()
        load = np.zeros((self.node_count + body.lump_count, len(body.boards)))
        load[self.node_count + np.arange(len(body.boards)), np.arange(len(body.boards))] = 1.0
        self.rise_k_w = self.solve(load)

    @property
    def node_count(self) -> int:
        """Unknowns on the grid."""
        return 0 if self._grid is None else self._grid.node_count

    def solve(self, load: FloatArray) -> FloatArray:
        """Return the field for heat put in, (nodes + lumps, n) W -> K."""
        count = self.node_count
        on_nodes, on_lumps = load[:count], load[count:]
        field = np.zeros_like(on_nodes)
        if count:
            source = on_nodes + self._link @ (self._lumped @ on_lumps)
            field = solve(
                self._apply, self._multigrid.cycle, np.ascontiguousarray(source), TOLERANCE
            )
        return np.vstack([field, self._lumped @ (on_lumps + self._link.T @ field)])

    @cached_property
    def capacity_j_k(self) -> sparse.csr_matrix:
        """Matrix of heat capacity, (nodes + lumps, nodes + lumps) [J/K]."""
        body, cell_m3 = self.body, (self.body.cell_mm * M_PER_MM) ** 3
        lumps = np.zeros(body.lump_count)
        for region, solid in enumerate(body.regions.solids):
            if solid is not None and body.lump[region] >= 0:
                joules = body.substances[region].capacity_j_m3k * solid.volume_mm3 * M_PER_MM**3
                lumps[body.lump[region]] += joules
        blocks = [sparse.diags(lumps)]
        if self._grid is not None:
            moments = np.zeros((len(self._grid.cells), 27))
            for region, filling in self._fillings.items():
                per_cell = body.substances[region].capacity_j_m3k * cell_m3
                moments += per_cell * self._grid.weighted(filling)
            blocks.insert(0, self._grid.matrix(np.zeros_like(moments), moments))
        return sparse.block_diag(blocks).tocsr()

    def shed_w(self, field_k: FloatArray) -> FloatArray:
        """Return the heat that fields send into the room, (n,) W; field_k : (nodes + lumps, n)."""
        return self._to_room @ field_k

    def board_k(self, field_k: FloatArray) -> FloatArray:
        """Return the rise of each board, (boards, n) K."""
        return field_k[self.node_count :][: len(self.body.boards)]

    def skin_k(self, field_k: FloatArray) -> FloatArray:
        """Return the highest rise of a face of the skin, (n,) K."""
        of_solids = (self._skin @ field_k[: self.node_count]).max(axis=0, initial=0.0)
        of_sheets = (self._sheet[:, None] * field_k[self.node_count :]).max(axis=0, initial=0.0)
        return np.maximum(of_solids, of_sheets)

    def region_k(self, region: int, field_k: FloatArray) -> FloatArray:
        """Return the highest rise in a region that conducts, (n,) K.

        No heat arises in it, so it is warmest somewhere on its faces.
        """
        regions = self.body.regions
        mine = (regions.inside == region) | (regions.outside == region)
        return self.read(regions.walls.centroids[mine], field_k).max(axis=0)

    def read(self, points: FloatArray, field_k: FloatArray) -> FloatArray:
        """Return a field at points in regions that conduct, (p, n) K."""
        assert self._grid is not None, "asked of a body that conducts"
        return self._grid.sampler(points) @ field_k[: self.node_count]

    def _apply(self, field: FloatArray) -> FloatArray:
        return self._matrix @ field - self._link @ (self._lumped @ (self._link.T @ field))

    def _laid_grid(self) -> Elements | None:
        body, solids = self.body, self.body.conducting
        self._fillings: dict[int, Filling] = {}
        self._films = self._film_points()
        if not solids:
            return None
        low = np.min([s.bounds[0] for s in solids.values()], axis=0)
        high = np.max([s.bounds[1] for s in solids.values()], axis=0)
        grid = Grid.around(np.array([low, high]), body.cell_mm)
        self._fillings = {r: solid_filling(s, grid) for r, s in solids.items()}
        at_wall, _ = grid.locate(self._films.points)
        cells = np.unique(np.concatenate([at_wall, *(f.cells for f in self._fillings.values())]))
        return Elements.over(grid, cells)

    def _film_points(self) -> _Films:
        body, regions = self.body, self.body.regions
        lump = np.append(body.lump, -1)  # the room, numbered -1, is the last
        in_lump, out_lump = lump[regions.inside], lump[regions.outside]
        conducts_in = in_lump < 0
        conducts_out = (out_lump < 0) & (regions.outside != ROOM)
        borders = np.nonzero(conducts_in != conducts_out)[0]
        if not len(borders):
            none = np.zeros(0, dtype=np.int64)
            return _Films(np.zeros((0, 3)), np.zeros(0), none, np.zeros(0), none)
        points, areas, row = surface_points(regions.walls.triangles[borders], 1.5 * body.cell_mm)
        face = borders[row]
        here = np.where(conducts_in[face], regions.inside[face], regions.outside[face])
        beyond = np.where(conducts_in[face], out_lump[face], in_lump[face])
        conductivity = np.array([s.conductivity_w_mk for s in body.substances])[here]
        contact = _CONTACT * conductivity / (body.cell_mm * M_PER_MM)
        film = np.where(beyond < len(body.boards), contact, HOLLOW_W_M2K)
        film = np.where(beyond < 0, body.skin_w_m2k[face], film)
        return _Films(points, areas, face, film * areas * M_PER_MM**2, beyond)

    def _assemble(self) -> None:
        grid, body, films = self._grid, self.body, self._films
        between, drain = self._between_lumps()
        count = self.node_count
        self._link = sparse.csr_matrix((count, body.lump_count))
        from_skin = np.zeros(count)
        if grid is not None:
            matrix = self._conduction(grid)
            read = grid.sampler(films.points)
            to_lump = sparse.csr_matrix(
                (films.passes_w_k, (np.arange(len(films.lump)), films.lump % body.lump_count)),
                (len(films.lump), body.lump_count),
            )
            inner = sparse.diags((films.lump >= 0).astype(float))
            self._link = (read.T @ (inner @ to_lump)).tocsr()
            from_skin = read.T @ np.where(films.lump < 0, films.passes_w_k, 0.0)
            self._skin = _face_means(films, read)
            for board, lead in enumerate(body.leads):
                if lead is not None:
                    matrix, from_skin = self._with_lead(grid, matrix, from_skin, board, lead)
            self._matrix = matrix.tocsr()
        else:
            self._skin = sparse.csr_matrix((0, 0))
        own = np.asarray(self._link.sum(axis=0)).ravel() + between.sum(axis=1) + drain
        self._to_room = np.concatenate([from_skin, drain])
        if self._to_room.sum() <= 0:
            raise SolveError(
                f"{body.name}: other bodies cover all of its surface, so heat has no way out"
            )
        self._lumped = np.linalg.inv(np.diag(own) - between)
        if grid is not None:
            self._multigrid = Multigrid(self._matrix)

    def _conduction(self, grid: Elements) -> sparse.csr_matrix:
        """Return the matrix of conduction and of films, with boards and hollows held at 0."""
        cell_m = self.body.cell_mm * M_PER_MM
        stiffness, filled = np.zeros((len(grid.cells), 27)), np.zeros(len(grid.cells))
        for region, filling in self._fillings.items():
            moments = grid.weighted(filling)
            stiffness += self.body.substances[region].conductivity_w_mk * cell_m * moments
            filled += moments[:, 0]
        weight = stiffness[:, 0] / np.maximum(filled, 1e-6) / self.body.cell_mm
        films = surface_filling(self._films.points, self._films.passes_w_k, grid.grid)
        matrix = grid.matrix(stiffness, grid.weighted(films))
        return matrix + grid.ghost_penalty(filled, weight)

    def _between_lumps(self) -> tuple[FloatArray, FloatArray]:
        """Return what boards and hollows pass to each other, (lumps, lumps), and to the room
        past any conductor, (lumps,) [W/K]."""
        body, regions = self.body, self.body.regions
        count, boards = body.lump_count, len(body.boards)
        lump = np.append(body.lump, -1)
        one, other = lump[regions.inside], lump[regions.outside]
        area = regions.walls.areas_mm2 * M_PER_MM**2
        both = (one >= 0) & (other >= 0) & (one != other)
        film = np.where(np.maximum(one, other) < boards, TOUCHING_W_M2K, BOARD_W_M2K)
        between = np.zeros((count, count))
        np.add.at(between, (one[both], other[both]), (film * area)[both])
        between += between.T
        skin = body.skin_w_m2k
        # Through the sheet of a lantern: the film inside and the film outside in series.
        series = np.where(skin > 0, 1 / (1 / HOLLOW_W_M2K + 1 / np.maximum(skin, 1e-9)), 0.0)
        film = np.where(one < boards, skin, series)
        out = (one >= 0) & (regions.outside == ROOM)
        # How much of its rise a board shows on the skin, or the air of a lantern on its sheet.
        shown = np.where(one < boards, 1.0, HOLLOW_W_M2K / (HOLLOW_W_M2K + skin)) * (skin > 0)
        self._sheet = np.zeros(count)
        np.maximum.at(self._sheet, one[out], shown[out])
        drain = np.bincount(one[out], (film * area)[out], count).astype(float)
        return between, drain

    def _with_lead(
        self,
        grid: Elements,
        matrix: sparse.csr_matrix,
        from_skin: FloatArray,
        board: int,
        lead: Lead,
    ) -> tuple[sparse.csr_matrix, FloatArray]:
        """Add the wires of a board.

        They conduct along their way and are as warm as what they run through. A line on a grid
        acts as a wire of about 0.2 cells radius (Peaceman, SPE Journal 18, 183 (1978)).
        """
        way = lead.end_mm - lead.start_mm
        length = float(np.linalg.norm(way))
        steps = int(np.ceil(_LEAD_STEPS * length / self.body.cell_mm))
        points = lead.start_mm + (np.arange(steps)[:, None] + 0.5) / steps * way
        corners, local = grid.locate(points)
        slope = shape_slopes(local, np.broadcast_to(way / length, points.shape), grid.grid.cell_mm)
        along = sparse.csr_matrix(
            (slope.ravel(), corners.ravel(), np.arange(0, 8 * steps + 1, 8)),
            (steps, grid.node_count),
        )
        # W/mK times mm2 times mm times (1/mm)^2 is 1e-3 W/K.
        carries = COPPER_W_MK * lead.copper_mm2 * M_PER_MM
        matrix = matrix + carries * (length / steps) * (along.T @ along)
        foot, end = grid.sampler(lead.start_mm[None]), grid.sampler(lead.end_mm[None])
        joint = carries * _LEAD_STEPS / self.body.cell_mm
        matrix = matrix + joint * (foot.T @ foot) + lead.free_w_k * (end.T @ end)
        column = sparse.csr_matrix(([joint], ([0], [board])), (1, self.body.lump_count))
        self._link = (self._link + foot.T @ column).tocsr()
        return matrix, from_skin + lead.free_w_k * end.toarray()[0]


def _face_means(films: _Films, read: sparse.csr_matrix) -> sparse.csr_matrix:
    """Return the matrix that reads the mean over each face of the skin that touches the room."""
    on_room = np.nonzero((films.lump < 0) & (films.passes_w_k > 0))[0]
    faces, row = np.unique(films.face[on_room], return_inverse=True)
    area = films.areas_mm2[on_room]
    share = area / np.bincount(row, area, len(faces))[row] if len(faces) else area
    gather = sparse.csr_matrix((share, (row, np.arange(len(row)))), (len(faces), len(row)))
    return (gather @ read[on_room]).tocsr()
