"""The quick solver read backwards: what any light does to chosen patches of the surface.

What leaves a patch is a linear reading of the field, and the field's matrix is symmetric. So one
solve with the patch's reading as its source gives that patch's response to light scattered
anywhere, and one more product its response to light sent into a hollow. A light at a new place
then needs its first flight alone: response = (what the flight scatters) . (field of the patch),
plus what leaves unscattered. This is the forward solve in another order, not an approximation.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM
from glowsim.transport.problem import Emitters
from glowsim.transport.quick.aim import Aims, beams
from glowsim.transport.quick.beams import Rays, cosine_directions, even_points
from glowsim.transport.quick.quality import FULL
from glowsim.transport.quick.sights import air_side
from glowsim.transport.quick.solve import QuickBody

BACKWARD = replace(FULL, name="backward", tolerance=1e-5)
"""How good the backward solves are."""
PATCHES_AT_ONCE = 25
LIGHTS_AT_ONCE = 24
AIMED_RAYS = 12_000
"""Rays of a light in a hollow, about, over all its LEDs."""
AIMED_FACES = (300, 6000)
"""Faces of a hollow's walls that an LED in it aims at, at least and at most, about."""


class Adjoint:
    """Patches of a body's surface and their response to light anywhere in it."""

    def __init__(
        self,
        quick: QuickBody,
        patch: IntArray,
        report: Callable[[str], None] = lambda text: None,
    ) -> None:
        """Solve for every patch. Raises SolveError if a solve does not converge.

        patch : (skin faces,) int, number of the patch each face belongs to, -1 for none
        """
        self.quick = quick
        self.patch = patch
        self.count = int(patch.max()) + 1
        self._aims: Kept[Aims] = Kept(8)
        chosen = np.nonzero(patch >= 0)[0]
        shape = (self.count, len(patch))
        self._sum = sparse.csr_matrix((np.ones(len(chosen)), (patch[chosen], chosen)), shape=shape)
        bare = quick.bare
        airs = 0 if bare.cavity is None else 2 * len(bare.cavity.area)
        alike = quick.same_bands()
        bands = sorted(set(alike))
        self._row = [bands.index(first) for first in alike]
        """Where each band's readings stand: bands that are alike share theirs."""
        self._field = np.zeros((len(bands), bare.node_count, self.count), dtype=np.float32)
        self._air = np.zeros((len(bands), self.count, airs), dtype=np.float32)
        batches = range(0, self.count, PATCHES_AT_ONCE)
        done = 0
        with ThreadPoolExecutor(max_workers=2) as pool:
            for _ in pool.map(lambda first: self._listen(first, bands), batches):
                done += 1
                report(f"reading the light backwards, {100 * done // len(batches)} %")

    def _listen(self, first: int, bands: list[int]) -> None:
        """Solve for one batch of patches, the transpose of the forward solve."""
        mine = slice(first, min(first + PATCHES_AT_ONCE, self.count))
        adjoint_source = self.quick.bare.calmed(self._sum[mine].toarray().T)
        for band in bands:
            field, air = self.quick.bare.backward(adjoint_source, band, BACKWARD)
            row = self._row[band]
            self._field[row, :, mine], self._air[row, mine] = field, air.T

    def respond(
        self, emitters: Emitters, rays_per_light: int, aimed_rays: int = AIMED_RAYS
    ) -> FloatArray:
        """Return the share of each light's flux that leaves each patch, (lights, 3, patches).

        rays_per_light : of lights in material;  aimed_rays : of lights in a hollow, about
        All lights use the same even spread of rays, so that the response changes smoothly when
        a light is moved.
        """
        count = emitters.light_count
        parts = []
        for first in range(0, count, LIGHTS_AT_ONCE):
            lights = range(first, min(first + LIGHTS_AT_ONCE, count))
            some = [
                self._rays(emitters.of(k), k - first, rays_per_light, aimed_rays) for k in lights
            ]
            parts.append(self._respond(Rays.joined(some), len(lights)))
        return np.concatenate(parts) if parts else np.zeros((0, 3, self.count))

    def _respond(self, rays: Rays, lights: int) -> FloatArray:
        """Return the share of each light's rays that leaves each patch, (lights, 3, patches)."""
        quick = self.quick.bare
        flight = quick.follow([rays], lights)
        skin = quick.problem.skin
        leaving = flight.direct[:, skin] + flight.through_coat[:, skin]
        out = np.zeros((lights, 3, self.count))
        for band in range(3):
            out[:, band] = (self._sum @ leaving[:, :, band].T).T
            row = self._row[band]
            if quick.cloud is not None:
                lit = np.nonzero(flight.source.any(axis=1))[0]
                source = flight.source[lit, band::3].astype(np.float32)
                out[:, band] += (self._field[row, lit].T @ source).T
            if quick.cavity is not None:
                first = quick.cavity.sent(flight.into_air, flight.turned, band)
                out[:, band] += (self._air[row] @ first.astype(np.float32)).T
        return out

    def _rays(self, light: Emitters, number: int, rays_per_light: int, aimed: int) -> Rays:
        quick = self.quick
        faces = int(np.clip(aimed / len(light.light), *AIMED_FACES))
        aims = self._aims.get(str(faces), lambda: Aims(quick.problem, faces))
        target = quick.surfaces.target
        bundle = Rays.joined(list(beams(quick.problem, target, light, rays_per_light, 0, aims)))
        bundle.light[:] = number
        return bundle

    def at(self, points: FloatArray, weight: FloatArray) -> FloatArray:
        """Return the response of patches, added up, to light scattered at points in material.

        points : (n, 3) float [mm];  weight : (3, patches) float. Returns (n,) float, per unit of
        power. Points outside scattering material read the nearest of it.
        """
        cloud = self.quick.bare.cloud
        if cloud is None:
            return np.zeros(len(points))
        field = np.einsum(
            "bp,bnp->n", self._by_row(weight).astype(np.float32), self._field, optimize=True
        )
        return np.asarray(cloud.nodes.sampler(points) @ field, dtype=float)

    def _by_row(self, weight: FloatArray) -> FloatArray:
        """Return weights per band, (3, patches), added up for bands that are alike."""
        out = np.zeros((len(self._field), self.count))
        np.add.at(out, self._row, weight)
        return out

    def in_air(self, points: FloatArray, weight: FloatArray, rays: int) -> FloatArray:
        """Return the response of patches, added up, to lights in hollows that shine all round.

        points : (n, 3) float [mm];  weight : (3, patches) float;  rays : of each light. Returns
        (n,) float, per unit of power. What light does at a wall is read from `lit_walls`, as if
        it fell there from all sides: a point needs no more than to see the walls.
        """
        cavity = self.quick.bare.cavity
        if cavity is None or len(points) == 0:
            return np.zeros(len(points))
        worth = np.append(np.einsum("abp,bp->a", self.lit_walls, weight), 0.0)
        place = even_points(np.arange(rays), np.zeros((1, 2)))
        height, turn = 2 * place[:, 0] - 1, 2 * np.pi * place[:, 1]
        flat = np.sqrt(1 - height**2)
        ways = np.column_stack([flat * np.cos(turn), flat * np.sin(turn), height])
        target, total = self.quick.surfaces.target, np.zeros(len(points))
        for k, point in enumerate(points):
            face = target.first_hits(np.broadcast_to(point, ways.shape), ways).face
            total[k] = worth[np.where(face >= 0, cavity.patch[face], -1)].mean()
        return total

    @cached_property
    def lit_walls(self) -> FloatArray:
        """The response of patches to light that falls evenly from all sides on each patch of the
        walls of hollows, (air patches, 3, patches) float, per unit of power."""
        problem, cavity = self.quick.problem, self.quick.bare.cavity
        if cavity is None:
            return np.zeros((0, 3, self.count))
        side = air_side(problem)
        faces = np.nonzero(side != 0)[0]
        faces = faces[np.argsort(cavity.patch[faces], kind="stable")]
        patch = cavity.patch[faces]
        normal = problem.walls.normals[faces] * side[faces, None]
        number = np.arange(len(faces))
        share = problem.walls.areas_mm2[faces] / cavity.area[patch]
        rays = Rays(
            problem.walls.centroids[faces] + 2 * AHEAD_MM * normal,
            cosine_directions(-normal, even_points(number, np.zeros((1, 2)))),
            np.repeat(share[:, None], 3, axis=1),
            np.where(side[faces] < 0, problem.inside[faces], problem.outside[faces]),
            patch,
            np.asarray((number * 0.618033988749895) % 1.0),
            np.full(len(faces), -1),
            np.ones(len(faces)),
        )
        parts = []
        for first in range(0, len(cavity.area), LIGHTS_AT_ONCE):
            count = min(LIGHTS_AT_ONCE, len(cavity.area) - first)
            some = rays.where((patch >= first) & (patch < first + count))
            parts.append(self._respond(replace(some, light=some.light - first), count))
        return np.concatenate(parts)
