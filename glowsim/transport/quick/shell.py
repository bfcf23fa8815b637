"""A quick look at a shell lit from its hollow: each place of the wall as a slab of its own.

What an LED sends to each patch of the inner wall, what the patches and the boards in the hollow
send each other, and what goes straight through: no light runs along the wall. Some percent off, and
off by nearly the same where a light is moved a little, so that the last full answer takes the error
out. For looking at while a light is moved; nothing is judged by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import linalg
from scipy.spatial import cKDTree

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.rays import AHEAD_MM, RayTarget
from glowsim.optics.slab import layer_reflectance_transmittance, slab_reflectance_transmittance
from glowsim.transport.problem import BARE, BodyProblem, Emitters, Kind, OpaqueBoard
from glowsim.transport.quick.apart import key_of
from glowsim.transport.quick.cavity import Cavity
from glowsim.transport.quick.sights import air_side, index_toward_air
from glowsim.transport.quick.standing import Standing, standing, stopped
from glowsim.transport.quick.surfaces import Surfaces
from glowsim.transport.quick.walls import Walls

COSINES = np.linspace(0.0, 1.0, 65)
STEPS = 1024
"""Steps of the cosine that are told apart."""
MOST_FACTOR = 3.0
"""A place is corrected by at most this factor."""
BOARDS = 64
"""Boards, each where it stands, that are kept for the next question."""


@dataclass(frozen=True)
class Between:
    """How patches of wall light each other in one band, (p, p) float32 each, boards left out.

    deep   : from what they send to what arrives at once, see `Cavity`
    spread : from what arrives at once to all that arrives;  turns : (p,) float, the share of what
             arrives that a patch sends on
    """

    deep: np.ndarray
    spread: np.ndarray
    turns: FloatArray

    @classmethod
    def of(cls, deep: np.ndarray, turns: FloatArray) -> Between:
        """Work out `spread`. In short numbers: reading the tables is what a draft waits for."""
        again = np.eye(len(turns), dtype=np.float32) - deep * turns.astype(np.float32)
        return cls(deep, linalg.inv(again, overwrite_a=True, check_finite=False), turns)

    def arriving(
        self,
        sent: FloatArray,
        boards: Sequence[tuple[Standing, FloatArray]],
        area: FloatArray,
        band: int,
    ) -> FloatArray:
        """Return what arrives at the patches for what they first send, (p, lights) each per area.

        boards : in their hollow, and what falls on them from the LEDs. What they change of light
                 that they have changed before is left out: it is little.
        """
        arrives = self.spread @ (self.deep @ sent.astype(np.float32))
        if not boards:
            return arrives
        leaving = sent + self.turns[:, None] * arrives
        change = sum(board.change(leaving, onto, area, band) for board, onto in boards)
        return np.asarray(arrives + self.spread @ np.asarray(change, dtype=np.float32))


@dataclass(frozen=True)
class Shell:
    """The inner wall of a shell in patches, and the outer faces over them.

    walls, target : of the body, and ready for rays
    cavity   : the patches;  place, toward : (p, 3) float, middle and normal of each
    wall     : (p,) bool, patches of the shell's own bare wall
    opaque   : (3, p) float, reflectance of the others
    through, back : (3, STEPS + 1) float, of the wall for light from each step of the cosine
    evenly   : (3,) float, what it lets through of even light
    between  : how patches light each other in each band
    patch    : (skin faces,) int, the patch under each;  under, inward : (skin faces, 3) float32,
               the place of the inner wall under each, and its normal
    index    : (faces,) float, see `index_toward_air`
    share    : (skin faces, 3) float, what a face lets out of what falls under it, times that area
    boards   : where boards stood that were asked for
    """

    walls: Mesh
    target: RayTarget
    cavity: Cavity
    place: FloatArray
    toward: FloatArray
    wall: np.ndarray
    opaque: FloatArray
    through: FloatArray
    back: FloatArray
    evenly: FloatArray
    between: tuple[Between, ...]
    patch: IntArray
    under: FloatArray
    inward: FloatArray
    index: FloatArray
    share: FloatArray
    boards: Kept[Standing]

    def let_out(self, emitters: Emitters, boards: Sequence[OpaqueBoard] = ()) -> FloatArray:
        """Return the share of each light's flux that leaves each face, (lights, 3, skin faces)."""
        area, of_light = self.cavity.area, _of_light(emitters)
        first, cosine = _falls(emitters, self.place, self.toward)
        seen = self._seen(emitters, first > 0)
        first *= seen
        # What is sent falls somewhere: patches stand for all of the wall.
        whole = emitters.share / np.maximum(first @ area, 1e-30)
        first *= whole[:, None]
        onto = [self._stop(board, emitters, first, seen) for board in boards]
        standing = [
            (self._standing(board), fallen @ of_light.T)
            for board, fallen in zip(boards, onto, strict=True)
        ]
        under, slant = _falls(emitters, self.under, self.inward)
        under *= (seen * whole[:, None]).astype(np.float32)[:, self.patch]
        on_patch, on_face, short = _steps(cosine), _steps(slant), of_light.astype(np.float32)
        out = np.zeros((emitters.light_count, 3, len(self.patch)))
        for band in range(3):
            back = np.where(self.wall, self.back[band][on_patch], self.opaque[band])
            sent = (of_light @ (first * back)).T
            arriving = self.between[band].arriving(sent, standing, area, band)
            out[:, band] = short @ (under * self.through[band][on_face])
            out[:, band] += self.evenly[band] * arriving.T[:, self.patch]
        return np.asarray(out * np.where(self.wall[self.patch], self.share.T, 0.0))

    def _seen(self, emitters: Emitters, lit: np.ndarray) -> FloatArray:
        """Return 1 for patches of those lit that no wall hides from an LED, (e, p)."""
        led, patch = np.nonzero(lit)
        way = self.place[patch] - emitters.position[led]
        distance = np.linalg.norm(way, axis=1)
        hits = self.target.first_hits(emitters.position[led], way / distance[:, None])
        seen = np.zeros(lit.shape)
        seen[led, patch] = hits.distance_mm > 0.98 * distance
        return seen

    def _stop(
        self, board: OpaqueBoard, emitters: Emitters, first: FloatArray, seen: FloatArray
    ) -> FloatArray:
        """Take what a board stops of `first` and `seen` away; return the power on its front and its
        back from each LED, (2, e)."""
        stops = stopped(board.shape, emitters.position, self.place)
        power = np.where(stops, first, 0.0) @ self.cavity.area
        first[stops] = seen[stops] = 0.0
        ahead = board.shape.local(emitters.position)[:, 2] > -board.shape.thickness_mm / 2
        return np.stack([np.where(ahead, power, 0.0), np.where(ahead, 0.0, power)])

    def _standing(self, board: OpaqueBoard) -> Standing:
        return self.boards.get(
            key_of((board,)),
            lambda: standing(board, self.walls, self.target, self.cavity, self.index),
        )


def _of_light(emitters: Emitters) -> FloatArray:
    """Return 1 for the LEDs of each light, (lights, e) float."""
    return (emitters.light == np.arange(emitters.light_count)[:, None]).astype(float)


def _steps(cosine: FloatArray) -> IntArray:
    """Return the step that each cosine is nearest to."""
    return np.asarray(STEPS * np.minimum(cosine, 1.0) + 0.5, dtype=np.int16)


def _stepped(table: FloatArray) -> FloatArray:
    """Return what is known at COSINES, (3, 65), at each step, (3, STEPS + 1) float32."""
    steps = np.linspace(0.0, 1.0, STEPS + 1)
    return np.stack([np.interp(steps, COSINES, row) for row in table]).astype(np.float32)


def _falls(
    emitters: Emitters, place: FloatArray, toward: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what falls from each LED on each place per area, but for a factor of the LED's, and
    the cosine it falls at, (e, n) float each."""
    led = emitters.position.astype(place.dtype, copy=False)
    axis = emitters.direction.astype(place.dtype, copy=False)
    leaving = axis @ place.T - np.einsum("ed,ed->e", led, axis)[:, None]
    meeting = led @ toward.T - np.einsum("nd,nd->n", place, toward)
    square = np.einsum("nd,nd->n", place, place) + np.einsum("ed,ed->e", led, led)[:, None]
    square = np.maximum(square - 2 * led @ place.T, 1e-9)
    distance = np.sqrt(square)
    cosine = np.maximum(meeting, 0.0) / distance
    leaving = np.maximum(leaving, 0.0) / distance
    if (emitters.exponent != 1.0).any():
        leaving **= emitters.exponent[:, None].astype(place.dtype)
    return leaving * cosine / square, cosine


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
    deep = cavity.deep.astype(np.float32)
    between = (Between.of(deep, cavity.keeps - b[:, band]) for band in range(3))
    return Shell(
        problem.walls,
        surfaces.target,
        cavity,
        place,
        toward,
        is_wall,
        (1 - b).T,
        _stepped(through),
        _stepped(back),
        evenly,
        tuple(between),
        patch,
        under.astype(np.float32),
        inward.astype(np.float32),
        index_toward_air(problem),
        _shares(problem, patch, cavity.area, reflects),
        Kept(BOARDS),
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
