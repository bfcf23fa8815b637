"""The quick solve of one body: prepare it once, then ask for the response to any lights."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.errors import SolveError
from glowsim.geometry.body import region_of
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.rays import RayTarget
from glowsim.geometry.regions import ROOM
from glowsim.geometry.voxels import Filling, Grid, solid_filling, surface_filling
from glowsim.optics.diffusion import asymptotic_diffusion_coefficient_mm
from glowsim.transport.problem import BodyProblem, Emitters, Kind
from glowsim.transport.quick.aim import beams
from glowsim.transport.quick.cavity import Cavity, cavity_of
from glowsim.transport.quick.elements import Elements
from glowsim.transport.quick.flight import FirstFlight, Flight
from glowsim.transport.quick.multigrid import TOLERANCE, Multigrid, solve
from glowsim.transport.quick.triangles import surface_points
from glowsim.transport.quick.walls import walls_of

RAYS_PER_LIGHT = 16_384
MORE_RAYS = 8
"""Times as many rays are followed where unscattered light shows at the surface."""
VISIBLE_DIRECT = 0.01
"""From this share of a light's flux on, unscattered light at the surface counts as showing."""
LIGHTS_AT_ONCE = 8
CALM_CELLS = 1.25
"""What leaves the surface is averaged over this many cells where light turns round within one;
over less where it does not. On a shell two cells thick that takes the scatter between
neighbouring faces from 2.5 % (5 % where light also decays within a cell) to 1 %."""


@dataclass(frozen=True)
class BodyResponse:
    """What each light does to a body, as shares of the light's own flux.

    diffuse  : (lights, 3, skin faces) float, leaving each face diffusely
    direct   : (lights, 3, skin faces) float, leaving it unscattered
    heading  : (lights, skin faces, 3) float, sum of direct share times direction over the bands
    absorbed : (lights, 3, regions) float;  in_coats : (lights, 3) float
    lost     : (lights, 3) float, unaccounted
    """

    diffuse: FloatArray
    direct: FloatArray
    heading: FloatArray
    absorbed: FloatArray
    in_coats: FloatArray
    lost: FloatArray


class QuickBody:
    """A body ready for the quick solver: grid, matrices and their multigrid, cavity."""

    def __init__(
        self, problem: BodyProblem, seed: int = 0, same_walls: QuickBody | None = None
    ) -> None:
        """Prepare `problem`. Everything that does not depend on the lights happens here.

        same_walls : the same body on another grid, whose walls see each other in the same way
        """
        self.problem = problem
        self._seed = seed
        self._walls = walls_of(problem)
        self._patch_field: sparse.csr_matrix | None = None
        self._target = RayTarget(problem.walls.triangles)
        self._cavity: Cavity | None = (
            cavity_of(problem, self._target, self._walls.classes, seed)
            if same_walls is None
            else same_walls._cavity
        )
        self._elements: Elements | None = None
        if problem.scatters:
            self._lay_grid()
        if self._cavity is not None:
            self._couple_cavity(self._cavity)
        self._skin = Patchwork(problem.walls, problem.outside == ROOM, self._walls.classes)
        self._flight = FirstFlight(problem, self._target, self._elements)

    @property
    def cell_count(self) -> int:
        """Grid cells in use."""
        return 0 if self._elements is None else len(self._elements.cells)

    def serves(self, problem: BodyProblem, seed: int = 0) -> bool:
        """Whether `problem` differs from this body in its lights and looks alone."""
        mine, other = _basis(self.problem), _basis(problem)
        return (
            seed == self._seed
            and len(mine) == len(other)
            and all(np.array_equal(a, b) for a, b in zip(mine, other, strict=True))
        )

    def respond(self, emitters: Emitters) -> BodyResponse:
        """Return the response to `emitters`, light by light.

        A moved light costs one first flight and one solve on what is ready here. Each solve starts
        from nothing: starting from the field of the old place saves one step of twelve (measured
        for moves of 0.5 to 15 mm), which is not worth keeping fields for.
        """
        parts = []
        for first in range(0, emitters.light_count, LIGHTS_AT_ONCE):
            count = min(LIGHTS_AT_ONCE, emitters.light_count - first)
            mine = (emitters.light >= first) & (emitters.light < first + count)
            batch = Emitters(
                emitters.position[mine],
                emitters.direction[mine],
                emitters.exponent[mine],
                emitters.light[mine] - first,
                emitters.share[mine],
                emitters.region[mine],
            )
            parts.append(self._respond_batch(batch, count))
        return BodyResponse(
            *(np.concatenate([getattr(p, name) for p in parts]) for name in _FIELDS)
        )

    def fluence_per_mm2(self, emitters: Emitters, points: FloatArray) -> FloatArray:
        """Return the fluence rate of scattered light at points in scattering material.

        points : (n, 3) float [mm]. Returns (n, lights, 3) float, per unit of each light's flux
        [1/mm2]. Raises SolveError for a body that does not scatter.
        """
        if self._elements is None:
            raise SolveError("there is no scattering material to read a fluence in")
        flight = self._first_flight(emitters, emitters.light_count)
        read = self._elements.sampler(points)
        index = np.array([m.refractive_index for m in self.problem.media])
        scale = 4 * index[region_of(points, self.problem.solids)] ** 2
        fields = [read @ self._field(flight, band)[0] for band in range(3)]
        return scale[:, None, None] * np.stack(fields, axis=2)

    def _respond_batch(self, emitters: Emitters, lights: int) -> BodyResponse:
        flight = self._first_flight(emitters, lights)
        with ThreadPoolExecutor(max_workers=3) as pool:
            fields = list(pool.map(lambda band: self._field(flight, band), range(3)))
        return self._response(flight, fields)

    def _first_flight(self, emitters: Emitters, lights: int) -> Flight:
        def follow(rays_per_light: int) -> Flight:
            rays = beams(self.problem, self._target, emitters, rays_per_light, self._seed)
            return self._flight.follow(rays, lights)

        flight = follow(RAYS_PER_LIGHT)
        if flight.direct[:, self.problem.skin].sum(axis=1).max() > VISIBLE_DIRECT:
            flight = follow(MORE_RAYS * RAYS_PER_LIGHT)
        return flight

    def _lay_grid(self) -> None:
        """Build elements, the samplers of wall faces, and one matrix per band."""
        problem = self.problem
        cloudy = [r for r, m in enumerate(problem.media) if m.kind == Kind.SCATTERS]
        solids = {r: problem.solids[r] for r in cloudy}
        low = np.min([s.bounds[0] for s in solids.values() if s is not None], axis=0)
        high = np.max([s.bounds[1] for s in solids.values() if s is not None], axis=0)
        grid = Grid.around(np.array([low, high]), problem.cell_mm)
        fillings = {r: solid_filling(s, grid) for r, s in solids.items() if s is not None}
        faces = np.nonzero(self._walls.field_b[:, 0] > 0)[0]
        points, areas, owner = surface_points(problem.walls.triangles[faces], 1.5 * grid.cell_mm)
        at_wall, _ = grid.locate(points)
        cells = np.unique(np.concatenate([at_wall, *(f.cells for f in fillings.values())]))
        self._elements = Elements.over(grid, cells)
        read = self._elements.sampler(points)
        share = areas / problem.walls.areas_mm2[faces[owner]]
        spread = sparse.csr_matrix(
            (share, (faces[owner], np.arange(len(points)))),
            shape=(len(problem.walls.faces), len(points)),
        )
        self._face_mean = (spread @ read).tocsr()
        self._assemble(fillings, points, areas, faces[owner])

    def _assemble(
        self,
        fillings: dict[int, Filling],
        points: FloatArray,
        areas: FloatArray,
        face: IntArray,
    ) -> None:
        """Assemble D grad.grad + mu_a + b on walls, in phi^ = phi / (4 n^2), for each band."""
        elements, media = self._elements, self.problem.media
        assert elements is not None
        cell = elements.grid.cell_mm
        moments = {r: elements.weighted(f) for r, f in fillings.items()}
        filled = np.sum([m[:, 0] for m in moments.values()], axis=0)
        least_mu = 0.2 / float(self.problem.walls.size_mm.max())
        self._matrix, self._absorbs = [], []
        wall_moments: dict[bytes, FloatArray] = {}
        for band in range(3):
            b = self._walls.field_b[face, band]
            if b.tobytes() not in wall_moments:
                on_wall = surface_filling(points, areas * b, elements.grid)
                wall_moments[b.tobytes()] = elements.weighted(on_wall)
            stiffness = np.zeros_like(next(iter(moments.values())))
            mass = wall_moments[b.tobytes()].copy()
            absorbs = {}
            for r, moment in moments.items():
                medium = media[r]
                fluence = 4 * medium.refractive_index**2
                mu_a = medium.mu_a_per_mm[band]
                # In clear material light crosses the body unscattered; its small scattered part
                # is spread over the whole body, which a large D says well enough.
                mu_s = max(medium.mu_s_reduced_per_mm[band], least_mu - mu_a)
                d_mm = asymptotic_diffusion_coefficient_mm(
                    mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s, g=medium.g
                )
                stiffness += fluence * d_mm * cell * moment
                absorbed = fluence * mu_a * cell**3 * moment
                mass += absorbed
                absorbs[r] = elements.load(absorbed)
            weight = stiffness[:, 0] / np.maximum(filled, 1e-6) / cell
            ghost = elements.ghost_penalty(filled, weight)
            self._matrix.append((elements.matrix(stiffness, mass) + ghost).tocsr())
            self._absorbs.append(absorbs)
        self._multigrid = _hierarchies(self._matrix)

    def _couple_cavity(self, cavity: Cavity) -> None:
        """Work out what the cavity returns, per band, at patch level."""
        areas = self.problem.walls.areas_mm2
        mean = cavity.averager(areas)
        self._arriving, self._first_arriving, self._patch_b = [], [], []
        known: dict[bytes, tuple[FloatArray, FloatArray]] = {}
        for band in range(3):
            b = mean @ self._walls.cavity_b[:, band]
            if b.tobytes() not in known:
                known[b.tobytes()] = cavity.arriving(b)
            self._arriving.append(known[b.tobytes()][0])
            self._first_arriving.append(known[b.tobytes()][1])
            self._patch_b.append(b)
        if self._elements is not None:
            # Only scattering walls feed the cavity from the field.
            cloudy = sparse.diags((self._walls.on_cavity).astype(float))
            self._patch_field = (mean @ cloudy @ self._face_mean).tocsr()

    def _field(self, flight: Flight, band: int) -> tuple[FloatArray, FloatArray]:
        """Return phi^ on the nodes (nodes, lights) and what arrives at patches (p, lights)."""
        source = np.ascontiguousarray(flight.source[:, band::3])
        cavity = self._cavity
        if cavity is None:
            return self.solved(source, band), np.zeros((0, source.shape[1]))
        arriving, b = self._arriving[band], self._patch_b[band]
        first = self._first_arriving[band] @ cavity.sent(flight.into_air, flight.turned, band)
        couple = self._patch_field
        if couple is None:
            return source, first
        field = self.solved(source + couple.T @ ((b * cavity.area)[:, None] * first), band)
        return field, arriving @ (b[:, None] * (couple @ field)) + first

    def solved(self, source: FloatArray, band: int, tolerance: float = TOLERANCE) -> FloatArray:
        """Return phi^ on the nodes for loads on them, (nodes, k) each, cavity exchange included.

        The matrix is symmetric, so a load that reads a field gives the response to a source
        at any node.
        """
        if self._elements is None:
            return np.zeros_like(source)
        matrix, cycle = self._matrix[band], self._multigrid[band].cycle
        cavity, couple = self._cavity, self._patch_field
        if cavity is None or couple is None:
            return solve(matrix.__matmul__, cycle, source, tolerance=tolerance)
        arriving, b = self._arriving[band], self._patch_b[band]
        power, back = (b * cavity.area)[:, None], couple.T.tocsr()

        def apply(field: FloatArray) -> FloatArray:
            returned = power * (arriving @ (b[:, None] * (couple @ field)))
            return matrix @ field - back @ returned

        return solve(apply, cycle, source, tolerance=tolerance)

    def _response(
        self, flight: Flight, fields: list[tuple[FloatArray, FloatArray]]
    ) -> BodyResponse:
        problem, walls = self.problem, self._walls
        skin, areas = problem.skin, problem.walls.areas_mm2[:, None]
        lights = len(flight.lost)
        diffuse = flight.through_coat[:, skin].transpose(0, 2, 1).copy()
        absorbed = flight.absorbed.transpose(0, 2, 1).copy()
        in_coats = flight.in_coats.sum(axis=1)
        for band, (field, arriving) in enumerate(fields):
            flux = np.zeros((len(areas), lights))
            if self._elements is not None:
                flux += walls.field_b[:, band : band + 1] * (self._face_mean @ field) * areas
                for region, absorbs in self._absorbs[band].items():
                    absorbed[:, band, region] += absorbs @ field
            if self._cavity is not None:
                inside = self._cavity.patch >= 0
                arrives = arriving[self._cavity.patch[inside]] * areas[inside]
                sign = np.where(walls.on_cavity[inside], -1.0, 1.0)[:, None]
                flux[inside] += sign * walls.cavity_b[inside, band : band + 1] * arrives
            out = self._calmed(walls.let_out[:, band : band + 1] * flux)
            diffuse[:, band] += out.T
            coats = walls.in_coat[:, band : band + 1] * flux
            in_coats[:, band] += coats.sum(axis=0)
            self._count_cores(flux, absorbed[:, band])
        return BodyResponse(
            diffuse,
            flight.direct[:, skin].transpose(0, 2, 1),
            flight.heading[:, skin],
            absorbed,
            in_coats,
            flight.lost,
        )

    def _calmed(self, out: FloatArray) -> FloatArray:
        """Return the power that faces let out, (skin faces, lights), without the grid's grain.

        The field has no detail finer than a cell or two; where cells cut the surface now here,
        now there, single faces are a few percent off, the more the steeper the field is within
        a cell. The sum is kept.
        """
        out = out[self.problem.skin]
        area = self._skin.area[:, None]
        calm = np.maximum(self.calmed(out / area), 0.0) * area
        return calm * (out.sum(axis=0) / np.maximum(calm.sum(axis=0), 1e-300))

    def calmed(self, values: FloatArray) -> FloatArray:
        """Return values on the skin, (skin faces, n), averaged over `calm_mm`.

        What the averaging took away is averaged too and given back (twicing: Tukey, Exploratory
        Data Analysis (1977)): a plain average would raise a glow that falls off as exp(-k s) by
        exp(k^2 r^2 / 2), 20 % in the gaps between the LEDs of a strip, and lower its peaks.
        """
        calm = self._skin.smoothed(values, self.calm_mm)
        return calm + self._skin.smoothed(values - calm, self.calm_mm)

    @property
    def calm_mm(self) -> float:
        """Distance over which what leaves the surface is averaged, see `_calmed`."""
        if self._elements is None:
            return 0.0
        cell = self._elements.grid.cell_mm
        steepest = max(float(m.mu_t_reduced_per_mm.max()) for m in self.problem.media)
        return cell * min(CALM_CELLS, cell * steepest)

    def _count_cores(self, flux: FloatArray, absorbed: FloatArray) -> None:
        """Add what flows into opaque regions to their account, (lights, regions)."""
        for region, medium in enumerate(self.problem.media):
            if medium.kind == Kind.OPAQUE:
                mine = (self.problem.inside == region) | (self.problem.outside == region)
                mine &= self.problem.outside != ROOM
                absorbed[:, region] += flux[mine].sum(axis=0)


_FIELDS = ("diffuse", "direct", "heading", "absorbed", "in_coats", "lost")


def _basis(problem: BodyProblem) -> list[FloatArray | IntArray]:
    """Return all that grid, matrices and cavity are made from."""
    none = np.full(3, -1.0)
    media = [
        np.concatenate(
            [
                [m.kind, m.g, m.refractive_index],
                *(m.mu_a_per_mm, m.mu_s_reduced_per_mm),
                none if m.reflectance is None else m.reflectance,
            ]
        )
        for m in problem.media
    ]
    layers = [
        np.concatenate([c.reflectance, c.transmittance, [c.open_fraction]]) for c in problem.layers
    ]
    meshes = [problem.walls, *(solid for solid in problem.solids if solid is not None)]
    shapes = [array for mesh in meshes for array in (mesh.vertices, mesh.faces)]
    sides = [problem.inside, problem.outside, problem.coat]
    return [np.array([problem.cell_mm]), *sides, *shapes, *media, *layers]


def _hierarchies(matrices: list[sparse.csr_matrix]) -> list[Multigrid]:
    """Return a multigrid for each matrix; bands that differ little share one.

    It only steers the iteration: each band is still solved with its own matrix.
    """
    made: list[tuple[sparse.csr_matrix, Multigrid]] = []
    chosen = []
    for matrix in matrices:
        near = next((m for other, m in made if _alike(matrix, other)), None)
        if near is None:
            near = Multigrid(matrix)
            made.append((matrix, near))
        chosen.append(near)
    return chosen


def _alike(one: sparse.csr_matrix, other: sparse.csr_matrix) -> bool:
    """Whether two matrices of one grid agree within a factor on sharp and on smooth fields."""
    sharp = one.diagonal().sum() / other.diagonal().sum()
    smooth = one.sum() / other.sum()
    return 0.5 < sharp < 2 and 0.25 < smooth < 4
