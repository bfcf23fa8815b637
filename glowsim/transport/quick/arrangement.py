"""A body with light boards standing in it, ready to answer what lights do.

Everything here is fixed once it is made; what an answer needs besides is made for that answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.errors import SolveError
from glowsim.geometry.body import region_of
from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.rays import Target
from glowsim.geometry.regions import ROOM
from glowsim.transport.boards import folded
from glowsim.transport.problem import BodyProblem, Emitters, Kind
from glowsim.transport.quick.aim import beams
from glowsim.transport.quick.beams import MOST_SHARING, Rays, rays_of
from glowsim.transport.quick.cavity import Cavity, Exchange
from glowsim.transport.quick.cloud import Cloud
from glowsim.transport.quick.flight import FirstFlight, Flight
from glowsim.transport.quick.linear import Reading
from glowsim.transport.quick.quality import FULL, Quality
from glowsim.transport.quick.system import Returns, System
from glowsim.transport.quick.trail import Guess, Trail
from glowsim.transport.quick.walls import Walls

VISIBLE_DIRECT = 0.01
"""From this share of a light's flux on, unscattered light at the surface counts as showing."""
LIGHTS_AT_ONCE = 8
VALUES_AT_ONCE = 1 << 20
"""Values of a field, over all lights that are solved together, about at most: in each of three
bands a solve takes some nine such arrays."""
ENTERING_RAYS = 20 * MOST_SHARING
"""Rays that enter by a piece of an opening, as `rays_of` counts: 20 from each of its places."""
CALM_CELLS = 1.25
"""What leaves the surface is averaged over this many cells where light turns round within one;
over less where it does not. On a shell two cells thick that takes the scatter between
neighbouring faces from 2.5 % (5 % where light also decays within a cell) to 1 %."""


@dataclass(frozen=True)
class BodyResponse:
    """What each light does to a body, as shares of the light's own flux.

    diffuse  : (lights, 3, skin faces) float, leaving each face diffusely
    direct   : (lights, 3, skin faces) float, leaving it unscattered
    direct_moment : (lights, skin faces, 3) float, sum of direct share times direction, all bands
    absorbed : (lights, 3, regions) float;  in_coats : (lights, 3) float; NaN in a draft
    lost     : (lights, 3) float, unaccounted
    """

    diffuse: FloatArray
    direct: FloatArray
    direct_moment: FloatArray
    absorbed: FloatArray
    in_coats: FloatArray
    lost: FloatArray


class Arrangement:
    """A body, its boards, and all that light needs to know of them.

    body    : the body with its boards apart;  problem : the same with their faces among its walls
    walls   : what each wall does to diffuse light;  target : the walls, ready for rays
    cavity  : how the walls of hollows see each other, None where there is no hollow
    cloud   : the scattering material, None where there is none;  skin : faces on the room
    """

    def __init__(
        self,
        body: BodyProblem,
        problem: BodyProblem,
        walls: Walls,
        target: Target,
        cavity: Cavity | None,
        cloud: Cloud | None,
        skin: Patchwork,
        seed: int,
    ) -> None:
        """Couple hollows and material."""
        self.body, self.problem, self.walls, self.target = body, problem, walls, target
        self.cavity, self.cloud, self.skin, self._seed = cavity, cloud, skin, seed
        self._couple: Reading | None = None
        if cavity is not None:
            self._couple_cavity(cavity)
        self._flight = FirstFlight(
            problem, target, None if cloud is None else cloud.nodes, self.node_count,
            1.0 if cloud is None else cloud.cell_mm,
        )  # fmt: skip
        self._systems: Kept[System] = Kept(6)

    @property
    def node_count(self) -> int:
        """Nodes of the field."""
        return 0 if self.cloud is None else self.cloud.node_count

    def respond(
        self, emitters: Emitters, quality: Quality = FULL, trail: Trail | None = None
    ) -> BodyResponse:
        """Return the response to `emitters`, light by light.

        trail : of the body, if the solve is to start from the field of the last answer, as it does
        where its lights are few. A full one starts from nothing: it would save one step of twelve.
        """
        most = int(np.clip(VALUES_AT_ONCE // max(self.node_count, 1), 1, LIGHTS_AT_ONCE))
        if emitters.light_count > most:
            trail = None
        parts: list[BodyResponse] = []
        for first in range(0, emitters.light_count, most):
            count = min(most, emitters.light_count - first)
            mine = (emitters.light >= first) & (emitters.light < first + count)
            batch = Emitters(
                emitters.position[mine],
                emitters.direction[mine],
                emitters.exponent[mine],
                emitters.light[mine] - first,
                emitters.share[mine],
                emitters.region[mine],
            )
            start = None if trail is None else trail.start(self.cloud, count)
            flight = self._first_flight(batch, count, quality)
            fields = self._fields(flight, quality, start)
            parts.append(self._response(flight, fields, quality.judged))
            if trail is not None:
                trail.keep(self.cloud, tuple(field for field, _ in fields))
        return BodyResponse(
            *(np.concatenate([getattr(p, name) for p in parts]) for name in _FIELDS)
        )

    def entered(self, lamps: Emitters, quality: Quality = FULL) -> BodyResponse:
        """Return the response to even light from the room through openings.

        lamps : see `hollows.lamps_of`. Their rays are spread, for they are too many to be aimed
                one by one, and what is many together is smooth.
        """
        every = np.ones(len(lamps.light), dtype=bool)
        rays = rays_of(lamps, every, ENTERING_RAYS, self._seed)
        flight = self.follow([rays], lamps.light_count)
        fields = [self._field(flight, band, quality) for band in range(3)]
        return self._response(flight, fields, judged=True)

    def fluence_per_mm2(self, emitters: Emitters, points: FloatArray) -> FloatArray:
        """Return the fluence rate of scattered light at points in scattering material.

        points : (n, 3) float [mm]. Returns (n, lights, 3) float, per unit of each light's flux
        [1/mm2]. Raises SolveError for a body that does not scatter.
        """
        if self.cloud is None:
            raise SolveError("there is no scattering material to read a fluence in")
        flight = self._first_flight(emitters, emitters.light_count, FULL)
        read = self.cloud.nodes.sampler(points)
        index = np.array([m.refractive_index for m in self.problem.media])
        scale = 4 * index[region_of(points, self.problem.solids)] ** 2
        fields = [read @ self._field(flight, band, FULL)[0] for band in range(3)]
        return scale[:, None, None] * np.stack(fields, axis=2)

    def _fields(
        self, flight: Flight, quality: Quality, start: Sequence[Guess] | None
    ) -> list[tuple[FloatArray, FloatArray]]:
        """Return what `_field` does of each band, all at once."""

        def field(band: int) -> tuple[FloatArray, FloatArray]:
            return self._field(flight, band, quality, None if start is None else start[band])

        with ThreadPoolExecutor(max_workers=3) as pool:
            return list(pool.map(field, range(3)))

    def _first_flight(self, emitters: Emitters, lights: int, quality: Quality) -> Flight:
        def follow(rays_per_light: int) -> Flight:
            rays = beams(self.problem, self.target, emitters, rays_per_light, self._seed)
            return self.follow(rays, lights)

        flight = follow(quality.rays_per_light)
        seen = flight.direct[:, self.problem.skin].sum(axis=1).max(initial=0.0)
        if quality.more_rays > 1 and seen > VISIBLE_DIRECT:
            flight = follow(quality.more_rays * quality.rays_per_light)
        return flight

    def follow(self, bundles: Iterable[Rays], lights: int) -> Flight:
        """Follow rays from the emitters until they first scatter or leave."""
        return self._flight.follow(bundles, lights)

    def _couple_cavity(self, cavity: Cavity) -> None:
        """Work out what the cavity returns, per band, at patch level."""
        mean = cavity.averager(self.problem.walls.areas_mm2)
        self._exchanges: list[Exchange] = []
        self._patch_b: list[FloatArray] = []
        known: dict[bytes, Exchange] = {}
        for band in range(3):
            b = mean @ self.walls.cavity_b[:, band]
            if b.tobytes() not in known:
                known[b.tobytes()] = cavity.exchange(b)
            self._exchanges.append(known[b.tobytes()])
            self._patch_b.append(b)
        if self.cloud is not None:
            # Only scattering walls feed the cavity from the field.
            cloudy = sparse.diags((self.walls.on_cavity).astype(float))
            self._couple = self.cloud.face_mean.after((mean @ cloudy).tocsr())

    def _field(
        self, flight: Flight, band: int, quality: Quality, start: Guess | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Return phi^ on the nodes (nodes, lights) and what arrives at patches (p, lights)."""
        source = np.ascontiguousarray(flight.source[:, band::3])
        cavity = self.cavity
        if cavity is None:
            return self.solved(source, band, quality, start), np.zeros((0, source.shape[1]))
        exchange, b = self._exchanges[band], self._patch_b[band]
        first = exchange.first_arriving(cavity.sent(flight.into_air, flight.turned, band))
        couple = self._couple
        if couple is None:
            return source, first
        taken = (b * cavity.area)[:, None] * first
        field = self.solved(source + couple.back(taken), band, quality, start)
        return field, exchange.arriving(b[:, None] * (couple @ field)) + first

    def solved(
        self, source: FloatArray, band: int, quality: Quality, start: Guess | None = None
    ) -> FloatArray:
        """Return phi^ on the nodes for loads on them, (nodes, k) each, cavity exchange included.

        start : (nodes, k) float, a guess of it
        The matrix is symmetric, so a load that reads a field gives the response to a source
        at any node.
        """
        if self.cloud is None:
            return np.zeros_like(source)
        number_type = quality.number_type
        system = self._systems.get(
            f"{band} {number_type.__name__}", lambda: self._system(band, number_type)
        )
        load = source.astype(number_type, copy=False)
        guess = None if start is None else start.astype(number_type, copy=False)
        field = system.solved(load, quality.tolerance, guess)
        return field.astype(float, copy=False)

    def _system(self, band: int, number_type: type[np.floating]) -> System:
        """Return one band's equations in numbers of a type."""
        assert self.cloud is not None
        returns = None
        if self.cavity is not None and self._couple is not None:
            returns = Returns(
                self._couple, self._patch_b[band], self.cavity.area, self._exchanges[band]
            ).in_type(number_type)
        return System(*self.cloud.equations(band, number_type), returns)

    def backward(
        self, adjoint_source: FloatArray, band: int, quality: Quality
    ) -> tuple[FloatArray, FloatArray]:
        """Return what light anywhere does to chosen readings of the skin, the transpose of a solve.

        adjoint_source : (skin faces, k) float, what each reading counts of what leaves each face.
        Returns (nodes, k) for power scattered at the nodes, and (2 patches, k) for what patches of
        hollows send first into the air, per area (`Cavity.sent`).
        """
        walls, problem = self.walls, self.problem
        weight = np.zeros((len(problem.walls.faces), adjoint_source.shape[1]))
        weight[problem.skin] = adjoint_source * walls.escape_fraction[problem.skin, band : band + 1]
        weight *= problem.walls.areas_mm2[:, None]
        load = np.zeros((self.node_count, adjoint_source.shape[1]))
        if self.cloud is not None:
            load += self.cloud.face_mean.back(walls.field_b[:, band : band + 1] * weight)
        cavity = self.cavity
        if cavity is None:
            return self.solved(load, band, quality), np.zeros((0, adjoint_source.shape[1]))
        exchange, b = self._exchanges[band], self._patch_b[band][:, None]
        sign = np.where(walls.on_cavity, -1.0, 1.0)[:, None]
        air = cavity.gather(sign * walls.cavity_b[:, band : band + 1] * weight)
        field = load
        if self._couple is not None:
            load += self._couple.back(b * exchange.heard(air))
            field = self.solved(load, band, quality)
            air = air + b * cavity.area[:, None] * (self._couple @ field)
        return field, exchange.first_heard(air)

    def _response(
        self, flight: Flight, fields: list[tuple[FloatArray, FloatArray]], judged: bool
    ) -> BodyResponse:
        """Return what flight and fields come to; where the light stays only if that is judged."""
        walls, skin = self.walls, self.problem.skin
        absorbed = flight.absorbed.transpose(0, 2, 1).copy()
        in_coats = flight.in_coats.sum(axis=1)
        let_out = []
        for band, (field, arriving) in enumerate(fields):
            flux = self._flux(field, arriving, band)
            let_out.append(walls.escape_fraction[skin, band : band + 1] * flux[skin])
            if not judged:
                continue
            if self.cloud is not None:
                for region, taken in self.cloud.absorbed(field, band).items():
                    absorbed[:, band, region] += taken
            in_coats[:, band] += (walls.in_coat[:, band : band + 1] * flux).sum(axis=0)
            self._count_cores(flux, absorbed[:, band])
        if not judged:
            absorbed[:], in_coats[:] = np.nan, np.nan
        # All bands and lights are smoothed in one go.
        calm = self._calmed(np.concatenate(let_out, axis=1))
        through_field = calm.reshape(len(skin), 3, -1).transpose(2, 1, 0)
        return BodyResponse(
            flight.through_coat[:, skin].transpose(0, 2, 1) + through_field,
            flight.direct[:, skin].transpose(0, 2, 1),
            flight.direct_moment[:, skin],
            folded(self.body, absorbed),
            in_coats,
            flight.lost,
        )

    def _flux(self, field: FloatArray, arriving: FloatArray, band: int) -> FloatArray:
        """Return the power that goes through each wall face, (faces, lights)."""
        walls, areas = self.walls, self.problem.walls.areas_mm2[:, None]
        flux = np.zeros((len(areas), field.shape[1]))
        if self.cloud is not None:
            flux += walls.field_b[:, band : band + 1] * (self.cloud.face_mean @ field) * areas
        if self.cavity is not None:
            inside = self.cavity.patch >= 0
            arrives = arriving[self.cavity.patch[inside]] * areas[inside]
            sign = np.where(walls.on_cavity[inside], -1.0, 1.0)[:, None]
            flux[inside] += sign * walls.cavity_b[inside, band : band + 1] * arrives
        return flux

    def _calmed(self, out: FloatArray) -> FloatArray:
        """Return the power that faces of the skin let out, (faces, n), without the grid's grain.

        The field has no detail finer than a cell or two; where cells cut the surface now here,
        now there, single faces are a few percent off, the more the steeper the field is within
        a cell. The sum is kept.
        """
        area = self.skin.area[:, None]
        calm = np.maximum(self.calmed(out / area), 0.0) * area
        return calm * (out.sum(axis=0) / np.maximum(calm.sum(axis=0), 1e-300))

    def calmed(self, values: FloatArray) -> FloatArray:
        """Return values on the skin, (skin faces, n), averaged over `calm_mm`.

        What the averaging took away is averaged too and given back (twicing: Tukey, Exploratory
        Data Analysis (1977)): a plain average would raise a glow that falls off as exp(-k s) by
        exp(k^2 r^2 / 2), 20 % in the gaps between the LEDs of a strip, and lower its peaks.
        """
        calm = self.skin.smoothed(values, self.calm_mm)
        return calm + self.skin.smoothed(values - calm, self.calm_mm)

    @property
    def calm_mm(self) -> float:
        """Distance over which what leaves the surface is averaged, see `_calmed`."""
        if self.cloud is None:
            return 0.0
        cell = self.cloud.cell_mm
        steepest = max(float(m.mu_t_reduced_per_mm.max()) for m in self.problem.media)
        return cell * min(CALM_CELLS, cell * steepest)

    def _count_cores(self, flux: FloatArray, absorbed: FloatArray) -> None:
        """Add what flows into opaque regions to their account, (lights, regions)."""
        for region, medium in enumerate(self.problem.media):
            if medium.kind == Kind.OPAQUE:
                mine = (self.problem.inside == region) | (self.problem.outside == region)
                mine &= self.problem.outside != ROOM
                absorbed[:, region] += flux[mine].sum(axis=0)


_FIELDS = ("diffuse", "direct", "direct_moment", "absorbed", "in_coats", "lost")
