"""A quick look at a shell lit from its hollow: each place of the wall as a slab of its own.

What an LED sends to each patch of the inner wall, what the patches send each other, and what goes
straight through: no light runs along the wall. Some percent off, and off by nearly the same where
a light is moved a little, so that the last full answer takes the error out. For looking at while
a light is moved; nothing is judged by it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, RayTarget
from glowsim.optics.slab import layer_reflectance_transmittance, slab_reflectance_transmittance
from glowsim.transport.problem import BARE, BodyProblem, Emitters, Kind
from glowsim.transport.quick.cavity import Cavity, Exchange
from glowsim.transport.quick.sights import air_side
from glowsim.transport.quick.surfaces import Surfaces
from glowsim.transport.quick.walls import Walls

COSINES = np.linspace(0.0, 1.0, 65)
MOST_FACTOR = 3.0
"""A place is corrected by at most this factor."""


@dataclass(frozen=True)
class Shell:
    """The inner wall of a shell in patches, and the outer faces over them.

    place, toward : (p, 3) float, middle and normal of each patch;  area : (p,) float [mm2]
    wall     : (p,) bool, patches of the shell's own bare wall
    opaque   : (p, 3) float, reflectance of the others
    through, back : (3, 65) float, of the wall for light from each of COSINES
    evenly   : (3,) float, what it lets through of even light
    exchange : how patches light each other in each band
    target   : the walls, ready for rays
    patch    : (skin faces,) int, the patch under each;  under, inward : (skin faces, 3) float, the
               place of the inner wall under each, and its normal
    share    : (skin faces, 3) float, what a face lets out of what falls under it, times that area
    """

    place: FloatArray
    toward: FloatArray
    area: FloatArray
    wall: np.ndarray
    opaque: FloatArray
    through: FloatArray
    back: FloatArray
    evenly: FloatArray
    exchange: tuple[Exchange, ...]
    target: RayTarget
    patch: IntArray
    under: FloatArray
    inward: FloatArray
    share: FloatArray

    def let_out(self, emitters: Emitters) -> FloatArray:
        """Return the share of each light's flux that leaves each face, (lights, 3, skin faces)."""
        lights, count = emitters.light_count, len(self.area)
        first, cosine = _falls(emitters, self.place, self.toward)
        led, patch = np.nonzero(first)
        way = self.place[patch] - emitters.position[led]
        distance = np.linalg.norm(way, axis=1)
        hits = self.target.first_hits(emitters.position[led], way / distance[:, None])
        seen = np.zeros_like(first)
        seen[led, patch] = hits.distance_mm > 0.98 * distance
        first *= seen
        # What is sent falls somewhere: patches stand for all of the wall.
        whole = emitters.share / np.maximum(first @ self.area, 1e-30)
        first *= whole[:, None]
        under, slant = _falls(emitters, self.under, self.inward)
        under *= seen[:, self.patch] * whole[:, None]
        out = np.zeros((lights, 3, len(self.patch)))
        for band in range(3):
            back = np.interp(cosine, COSINES, self.back[band])
            back = np.where(self.wall, back, self.opaque[:, band])
            sent = np.zeros((2 * count, lights), dtype=self.exchange[band].deep.dtype)
            np.add.at(sent[:count].T, emitters.light, first * back)
            arriving = self.exchange[band].first_arriving(sent).T
            np.add.at(
                out[:, band], emitters.light, under * np.interp(slant, COSINES, self.through[band])
            )
            out[:, band] += self.evenly[band] * arriving[:, self.patch]
        return np.asarray(out * np.where(self.wall[self.patch], self.share.T, 0.0))


def _falls(
    emitters: Emitters, place: FloatArray, toward: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what falls from each LED on each place per area, but for a factor of the LED's, and
    the cosine it falls at, (e, n) float each."""
    away = place[None] - emitters.position[:, None]
    distance = np.linalg.norm(away, axis=2)
    way = away / np.maximum(distance, 1e-9)[:, :, None]
    leaving = np.maximum(np.einsum("end,ed->en", way, emitters.direction), 0.0)
    cosine = np.maximum(-np.einsum("end,nd->en", way, toward), 0.0)
    return leaving ** emitters.exponent[:, None] * cosine / distance**2, cosine


def shell_of(
    problem: BodyProblem, walls: Walls, surfaces: Surfaces, cavity: Cavity | None
) -> Shell | None:
    """Return the shell of a body; None for one that is none, or that light does not scatter in."""
    medium = problem.media[0]
    if problem.wall_mm is None or cavity is None or medium.kind != Kind.SCATTERS:
        return None
    mean = cavity.averager(problem.walls.areas_mm2)
    toward = mean @ (problem.walls.normals * air_side(problem)[:, None])
    is_wall = mean @ walls.on_cavity.astype(float) > 0.5
    back, through = slab_reflectance_transmittance(
        cos_incidence=COSINES,
        mu_a_per_mm=medium.mu_a_per_mm[:, None],
        mu_s_reduced_per_mm=medium.mu_s_reduced_per_mm[:, None],
        g=medium.g,
        n=medium.refractive_index,
        thickness_mm=problem.wall_mm,
    )
    reflects, evenly = layer_reflectance_transmittance(
        mu_a_per_mm=medium.mu_a_per_mm,
        mu_s_reduced_per_mm=medium.mu_s_reduced_per_mm,
        g=medium.g,
        n=medium.refractive_index,
        thickness_mm=problem.wall_mm,
    )
    b = mean @ walls.cavity_b
    b[is_wall] = 1 - reflects
    place = mean @ problem.walls.centroids
    toward = toward / np.maximum(np.linalg.norm(toward, axis=1), 1e-9)[:, None]
    patch, under, inward = _under(problem, surfaces.target, cavity.patch, place, toward)
    return Shell(
        place,
        toward,
        cavity.area,
        is_wall,
        1 - b,
        through,
        back,
        evenly,
        # In short numbers: reading the tables is what a draft waits for.
        tuple(cavity.exchange(b[:, band]).in_type(np.float32) for band in range(3)),
        surfaces.target,
        patch,
        under,
        inward,
        _shares(problem, patch, cavity.area, reflects),
    )


def corrected(draft: FloatArray, near: FloatArray, full: FloatArray) -> FloatArray:
    """Return a draft of light let out times what an earlier draft lacked of the full answer.

    All (lights, 3, faces) float; the lights of both are the same ones at other places. Where the
    earlier draft says nothing, as where the wall lies on a core, the full answer stays.
    """
    said = near > 1e-9 * near.max(initial=0.0)
    ratio = np.divide(full, near, out=np.ones_like(full), where=said)
    return np.where(said, draft * np.clip(ratio, 1 / MOST_FACTOR, MOST_FACTOR), full)


def _under(
    problem: BodyProblem,
    target: RayTarget,
    patch: IntArray,
    place: FloatArray,
    toward: FloatArray,
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the patch of inner wall under each face of the skin, (n,) int, and where it is met
    and the normal there, (n, 3) float each."""
    normal = problem.walls.normals[problem.skin]
    start = problem.walls.centroids[problem.skin] - 2 * AHEAD_MM * normal
    hits = target.first_hits(start, -normal)
    under = np.where(hits.face >= 0, patch[hits.face], -1)
    point, inward = (
        hits.point,
        problem.walls.normals[hits.face] * air_side(problem)[hits.face, None],
    )
    stray = under < 0
    if stray.any():
        under[stray] = cKDTree(place).query(start[stray])[1]
        point[stray], inward[stray] = place[under[stray]], toward[under[stray]]
    return under, point, inward


def _shares(
    problem: BodyProblem, patch: IntArray, area_mm2: FloatArray, reflects: FloatArray
) -> FloatArray:
    """Return what each face of the skin lets out of what gets to it, times the area of inner wall
    that it stands for, (faces, 3) float [mm2]."""
    area = problem.walls.areas_mm2[problem.skin]
    whole = np.bincount(patch, area, len(area_mm2))
    coat = problem.coat[problem.skin]
    lets = np.ones((len(area), 3))
    for number, layer in enumerate(problem.layers):
        lets[coat == number] = layer.transmittance / (1 - reflects * layer.reflectance)
    lets[(problem.kind_of(problem.inside[problem.skin]) != Kind.SCATTERS) & (coat == BARE)] = 0.0
    return (area / whole[patch] * area_mm2[patch])[:, None] * lets
