"""First flight: light on its way from the emitters until it first scatters, or leaves.

Rays run straight through air and cloudy material, bend and reflect at faces, and feed what
scatters out of them into the diffusion field. Forward-peaked scattering counts as straight on
(delta-P1: attenuation mu_a + mu_s (1 - g^2), what is scattered keeps a forward part
g* = g / (1 + g); Carp, Prahl & Venugopalan, J. Biomed. Opt. 9, 632 (2004)). Light that enters
from the air scatters first just under a face, where diffusion theory misjudges how much of it
turns back; `entry_gain` corrects that, and what it takes is returned through the same face.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, Hits, Target
from glowsim.geometry.regions import ROOM
from glowsim.optics.boundary import entry_gain
from glowsim.optics.facing import turned_share
from glowsim.optics.fresnel import reflectance, refract
from glowsim.optics.phase import delta_eddington
from glowsim.transport.problem import BARE, BodyProblem, Kind
from glowsim.transport.quick.beams import Rays, cosine_directions, even_points
from glowsim.transport.quick.elements import Nodes, shape_slopes, shape_values

PIECES = 8
"""Parts of equal scattering that a ray's path through a cloudy material is cut into."""
MOST_FACES = 48
"""Faces a ray may meet before what is left of it counts as diffuse."""
RAYS_AT_ONCE = 200_000
"""Rays followed together; bounds the memory."""
POINTS_AT_ONCE = 1 << 16
"""Points at which scattered light is put into the field together, or one part of each ray: of few
rays all parts in one go, for then calls take longer than sums."""
MIRRORED = 1e-3
"""Above this share of the strongest ray what a wall mirrors into the air is followed on."""
DROPPED_SHARE = 1e-4
"""Below this share of its first power a ray's rest counts as diffuse."""


@dataclass
class Flight:
    """What first flight leaves behind, per light and band (shares of the light's flux).

    source       : (nodes, lights * 3) float, scattered power, as the load of the field
    absorbed     : (lights, regions, 3) float, in materials and on opaque regions
    in_coats     : (lights, layers, 3) float, absorbed in coats
    into_air     : (lights, faces, 3) float, sent back diffusely into the air by wall faces
    turned       : (lights, faces, 3) float, turned round at a wall before it got deep
    through_coat : (lights, faces, 3) float, let out diffusely by a coat
    direct       : (lights, faces, 3) float, let out unscattered
    direct_moment : (lights, faces, 3) float, sum of direct power times direction
    lost         : (lights, 3) float, rays that slipped through a seam
    """

    source: FloatArray
    absorbed: FloatArray
    in_coats: FloatArray
    into_air: FloatArray
    turned: FloatArray
    through_coat: FloatArray
    direct: FloatArray
    direct_moment: FloatArray
    lost: FloatArray


class FirstFlight:
    """Follows the rays of one body's lights; any number of threads may ask at once."""

    def __init__(
        self,
        problem: BodyProblem,
        target: Target,
        nodes: Nodes | None,
        node_count: int,
        cell_mm: float,
    ) -> None:
        """Prepare the optics of all regions; `nodes` take the scattered light, if any."""
        self._problem = problem
        self._target = target
        self._nodes, self._node_count, self._cell_mm = nodes, node_count, cell_mm
        media = problem.media
        self._index = np.array([m.refractive_index for m in media] + [1.0])
        self._mu_a = np.array([m.mu_a_per_mm for m in media])
        g = np.array([[m.g] for m in media])
        mu_s = np.array([m.mu_s_reduced_per_mm for m in media]) / (1 - g)
        self._mu_s, forward = delta_eddington(mu_s_per_mm=mu_s, g=g)
        reduced = np.array([m.mu_t_reduced_per_mm for m in media])
        # The source's forward part, as the distance it acts ahead of where it scatters.
        self._ahead_mm = np.divide(
            np.broadcast_to(forward, reduced.shape), reduced, out=np.zeros_like(reduced),
            where=reduced > 0,
        )  # fmt: skip
        # Near its source light is absorbed faster than the field that spreads from it says: far
        # away a share x = 0.8 mu_a / (mu_a + mu_s (1 - g^2)) of it is missing (the P3
        # approximation; derived), within a few mean free paths nothing. Three eighths of it stand
        # for both: at an albedo of 0.9 the fluence is 4 % low at two of them, 4 % high at five.
        mu_t = np.maximum(self._mu_a + self._mu_s, 1e-12)
        self._lives = 1 / (1 + 0.3 * self._mu_a / mu_t)
        black = np.zeros(3)
        self._reflects = np.array(
            [black if m.reflectance is None else m.reflectance for m in media]
        )

    def follow(self, bundles: Iterable[Rays], light_count: int) -> Flight:
        """Follow all bundles of rays to their end."""
        flight = self._empty(light_count)
        for bundle in bundles:
            for first in range(0, len(bundle), RAYS_AT_ONCE):
                self._follow(bundle.where(slice(first, first + RAYS_AT_ONCE)), flight)
        return flight

    def _follow(self, rays: Rays, flight: Flight) -> None:
        first_power = rays.power.max(axis=1).max()
        ahead_mm = 0.0  # a light may lie just below a wall
        for _ in range(MOST_FACES):
            if len(rays) == 0:
                return
            start = rays.origin + ahead_mm * rays.direction
            ahead_mm = AHEAD_MM
            hits = self._target.first_hits(start, rays.direction)
            rays = self._through_material(rays, hits, flight)
            rays, hits = self._without_strays(rays, hits, flight)
            rays = self._at_faces(rays, hits, flight, MIRRORED * first_power)
            faint = rays.power.max(axis=1) < DROPPED_SHARE * first_power
            self._settle(rays.where(faint), flight)
            rays = rays.where(~faint)
        self._settle(rays, flight)

    def _empty(self, lights: int) -> Flight:
        faces, regions = len(self._problem.walls.faces), len(self._problem.media)
        return Flight(
            np.zeros((self._node_count, lights * 3)),
            np.zeros((lights, regions, 3)),
            np.zeros((lights, max(1, len(self._problem.layers)), 3)),
            np.zeros((lights, faces, 3)),
            np.zeros((lights, faces, 3)),
            np.zeros((lights, faces, 3)),
            np.zeros((lights, faces, 3)),
            np.zeros((lights, faces, 3)),
            np.zeros((lights, 3)),
        )

    def _through_material(self, rays: Rays, hits: Hits, flight: Flight) -> Rays:
        """Take out of each ray what its path scatters and absorbs."""
        mu_a, mu_s = self._mu_a[rays.region], self._mu_s[rays.region]
        mu_t = mu_a + mu_s
        cloudy = mu_t.max(axis=1) > 0
        if not cloudy.any():
            return rays
        inside = rays.where(cloudy)
        mu_a, mu_s, mu_t = mu_a[cloudy], mu_s[cloudy], mu_t[cloudy]
        # A ray that escapes through a seam still scatters on its way; the rest is caught later.
        length = np.where(hits.face[cloudy] >= 0, hits.distance_mm[cloudy], 0.0)
        steepest = mu_t.max(axis=1)
        # Kept below one, so that the last of eight equal parts ends at a finite depth.
        reached = np.minimum(-np.expm1(-steepest * length), 1 - 1e-12)
        before = np.ones_like(mu_t)
        entered = inside.entry_face >= 0
        albedo = np.divide(mu_s, mu_t, out=np.zeros_like(mu_s), where=mu_t > 0)
        albedo = albedo * np.where(entered[:, None], 1.0, self._lives[inside.region])
        # Where little scatters on the way, few parts tell as well where.
        pieces = int(np.clip(np.ceil(PIECES * reached.max(initial=0.0)), 1, PIECES))
        together = max(1, POINTS_AT_ONCE // len(inside))
        points: list[FloatArray] = []
        loads: list[FloatArray] = []
        for piece in range(pieces):
            stop = -np.log1p(-(piece + 1) / pieces * reached) / steepest
            stop = np.minimum(stop, length)
            middle = -np.log1p(-(piece + inside.phase) / pieces * reached) / steepest
            after = np.exp(-mu_t * stop[:, None])
            scattered = inside.power * albedo * (before - after)
            extra = scattered * (inside.gain - 1)[:, None]
            scattered += extra
            _add(
                flight.into_air, inside.light[entered], inside.entry_face[entered], -extra[entered]
            )
            points.append(inside.origin + np.minimum(middle, length)[:, None] * inside.direction)
            loads.append(scattered)
            if len(points) == together or piece + 1 == pieces:
                which = np.tile(np.arange(len(inside)), len(points))
                self._deposit(
                    np.concatenate(points), np.concatenate(loads), inside.where(which), flight,
                    directed=True,
                )  # fmt: skip
                points, loads = [], []
            before = after
        gone = inside.power * (1 - before)
        absorbed = gone * (1 - albedo)
        _add(flight.absorbed, inside.light, inside.region, absorbed)
        power = rays.power.copy()
        power[cloudy] = inside.power - gone
        return replace(rays, power=power)

    def _deposit(
        self, points: FloatArray, power: FloatArray, rays: Rays, flight: Flight, *, directed: bool
    ) -> None:
        """Add scattered power to the load of the field at `points`."""
        if self._nodes is None or not power.any():
            return
        nodes, local = self._nodes.locate(points)
        value = shape_values(local)
        columns, load = flight.source.shape[1], flight.source.reshape(-1)
        slope = shape_slopes(local, rays.direction, self._cell_mm) if directed else None
        place = nodes.T * columns + rays.light * 3
        for band in range(3):
            weight = value
            if slope is not None:
                weight = value + self._ahead_mm[rays.region, band][:, None] * slope
            # Corner by corner, as these arrays lie in memory.
            given = weight.T * power[:, band]
            np.add.at(load, (place + band).ravel(), given.ravel())

    def _without_strays(self, rays: Rays, hits: Hits, flight: Flight) -> tuple[Rays, Hits]:
        """Settle rays that met no face: they slipped through a seam between triangles."""
        met = hits.face >= 0
        if met.all():
            return rays, hits
        self._settle(rays.where(~met), flight)
        return rays.where(met), hits.where(met)

    def _settle(self, rays: Rays, flight: Flight) -> None:
        """Count what is left of rays as diffuse where they are: in the material, or lost."""
        if len(rays) == 0:
            return
        cloudy = self._problem.kind_of(rays.region) == Kind.SCATTERS
        inside = rays.where(cloudy)
        self._deposit(inside.origin, inside.power, inside, flight, directed=False)
        np.add.at(flight.lost, rays.light[~cloudy], rays.power[~cloudy])

    def _at_faces(self, rays: Rays, hits: Hits, flight: Flight, least: float) -> Rays:
        """Reflect, bend, let out or absorb rays at the faces they met; return those that go on."""
        problem = self._problem
        normal = problem.walls.normals[hits.face]
        outward = _dot(normal, rays.direction) > 0
        behind, before = problem.inside[hits.face], problem.outside[hits.face]
        # A board stands in whatever is there: before an opaque face a ray stays where it is.
        came = np.where(outward, behind, before)
        goes = np.where(outward, before, behind)
        coat = problem.coat[hits.face]
        opaque = problem.kind_of(goes) == Kind.OPAQUE
        arrived = replace(rays, origin=hits.point, region=np.where(opaque, rays.region, came))

        facing = np.where(outward[opaque, None], -normal[opaque], normal[opaque])
        thrown = self._meet_core(
            arrived.where(opaque), facing, goes[opaque], hits.face[opaque], flight
        )
        coated = (coat != BARE) & ~opaque
        self._meet_coat(arrived.where(coated), coat[coated], hits.face[coated], flight)
        bare = ~opaque & ~coated
        going_on = self._meet_bare(
            arrived.where(bare), normal[bare], goes[bare], hits.face[bare], flight, least
        )
        return Rays.joined([thrown, going_on])

    def _meet_core(
        self, rays: Rays, facing: FloatArray, core: IntArray, face: IntArray, flight: Flight
    ) -> Rays:
        """Absorb at an opaque surface, and throw the rest back diffusely; return what flies on.

        Into air it goes as diffuse light of that face. In material each ray flies on in one of
        the directions of diffuse light: in clear resin it may cross the body before it scatters.
        """
        back = rays.power * self._reflects[core]
        _add(flight.absorbed, rays.light, core, rays.power - back)
        air = self._problem.kind_of(rays.region) == Kind.AIR
        _add(flight.into_air, rays.light[air], face[air], back[air])
        thrown = replace(rays, power=back).where(~air)
        # The phase of a ray is spread evenly over all rays, and so is what is made of it here.
        number = np.floor(thrown.phase * 2**20).astype(np.int64) + np.arange(len(thrown))
        place = even_points(number, np.zeros((1, 2)))
        thrown.direction = cosine_directions(facing[~air], place)
        thrown.entry_face, thrown.gain = np.full(len(thrown), -1), np.ones(len(thrown))
        return thrown

    def _meet_coat(self, rays: Rays, coat: IntArray, face: IntArray, flight: Flight) -> None:
        """Let light out through a coat, straight and diffusely; absorb some; send some back."""
        layers = self._problem.layers
        if not layers:
            return
        straight = np.array([layer.open_fraction for layer in layers])[coat][:, None]
        through = np.array([layer.transmittance for layer in layers])[coat]
        back = rays.power * np.array([layer.reflectance for layer in layers])[coat]
        self._let_out(rays, rays.power * straight, face, flight)
        diffuse = rays.power * (through - straight)
        _add(flight.through_coat, rays.light, face, diffuse)
        _add(flight.in_coats, rays.light, coat, rays.power * (1 - through) - back)
        self._send_back(rays, back, face, flight)

    def _meet_bare(
        self,
        rays: Rays,
        normal: FloatArray,
        goes: IntArray,
        face: IntArray,
        flight: Flight,
        least: float,
    ) -> Rays:
        """Apply Fresnel and Snell at a smooth face."""
        n_from, n_to = self._index[rays.region], self._index[goes]
        cos = np.abs(_dot(normal, rays.direction))
        share = reflectance(cos, n_from=n_from, n_to=n_to)[:, None]
        from_air = self._problem.kind_of(rays.region) == Kind.AIR
        bent, _ = refract(rays.direction, normal, n_from=n_from, n_to=n_to)
        passed = replace(rays, direction=bent, power=rays.power * (1 - share), region=goes)
        passed.entry_face, passed.gain = self._entry(
            face, goes, from_air, np.abs(_dot(normal, bent))
        )
        leaves = goes == ROOM
        self._let_out(passed.where(leaves), passed.power[leaves], face[leaves], flight)
        mirrored = rays.direction - 2 * _dot(normal, rays.direction)[:, None] * normal
        kept = replace(rays, direction=mirrored, power=rays.power * share, gain=np.ones(len(rays)))
        dim = from_air & (kept.power.max(axis=1) < least)
        self._send_back(rays.where(dim), kept.power[dim], face[dim], flight)
        enters = from_air & (self._problem.kind_of(goes) == Kind.SCATTERS)
        followed = np.where(dim, 0.0, share[:, 0])[enters]
        self._turn_round(
            rays.where(enters), cos[enters], n_to[enters], followed, face[enters], flight
        )
        goes_on = ~leaves & (share[:, 0] < 1)
        bounces = ~dim & (share[:, 0] > 0)
        return Rays.joined([passed.where(goes_on), kept.where(bounces)])

    def _turn_round(
        self,
        rays: Rays,
        cos: FloatArray,
        index: FloatArray,
        followed: FloatArray,
        face: IntArray,
        flight: Flight,
    ) -> None:
        """Count apart what turns round before it gets deep: it leaves in other directions.

        followed : (n,) float, share of each ray that the face mirrors and that is followed on
        """
        power = np.maximum(turned_share(cos, index) - followed, 0.0)[:, None] * rays.power
        _add(flight.turned, rays.light, face, power)
        _add(flight.into_air, rays.light, face, -power)

    def _entry(
        self, face: IntArray, goes: IntArray, from_air: np.ndarray, cos: FloatArray
    ) -> tuple[IntArray, FloatArray]:
        """Return the entry face and gain of rays that pass a bare face."""
        enters = from_air & (self._problem.kind_of(goes) == Kind.SCATTERS)
        gain = np.ones(len(face))
        for region in np.unique(goes[enters]):
            mine = enters & (goes == region)
            gain[mine] = entry_gain(cos[mine], float(self._index[region]))
        return np.where(enters, face, -1), gain

    def _let_out(self, rays: Rays, power: FloatArray, face: IntArray, flight: Flight) -> None:
        _add(flight.direct, rays.light, face, power)
        moment = rays.direction * power.sum(axis=1, keepdims=True)
        _add(flight.direct_moment, rays.light, face, moment)

    def _send_back(self, rays: Rays, power: FloatArray, face: IntArray, flight: Flight) -> None:
        """Return power diffusely to where the rays came from: to the air, or into the material."""
        air = self._problem.kind_of(rays.region) == Kind.AIR
        _add(flight.into_air, rays.light[air], face[air], power[air])
        cloudy = rays.where(~air)
        # Diffuse light from a surface scatters, on average, one transport length before it.
        reach = 1.0 / np.maximum((self._mu_a + self._mu_s)[cloudy.region].max(axis=1), 1e-3)
        back = cloudy.origin - np.minimum(reach, 1.0)[:, None] * cloudy.direction
        self._deposit(back, power[~air], cloudy, flight, directed=False)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.einsum("nd,nd->n", a, b)


def _add(tally: FloatArray, light: IntArray, place: IntArray, power: FloatArray) -> None:
    """Add (n, 3) power to a (lights, places, 3) tally."""
    key = (light * tally.shape[1] + place) * 3
    flat = tally.reshape(-1)
    for column in range(3):
        np.add.at(flat, key + column, power[:, column])
