"""Light across the air: from the faces of a prop to its other faces, and back and forth.

Solvers follow light until it leaves a body. What then falls on another body, or on the same one
where it is hollowed, is followed here, once for findings and pictures alike: patch to patch as in
radiosity (Goral, Torrance, Greenberg & Battaile, SIGGRAPH 1984), M = M_first + rho F M, with view
factors F found by rays. What arrives on a face is sent back by its whiteness, evenly; the rest is
lost. So light that goes through a thin wall comes out on the side where it came in, and a body
that is lit from outside does not glow elsewhere. What falls into an open hollow lights the body
from within (`hollows`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from glowsim.geometry.creases import smooth_corners, smooth_pieces
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.rays import AHEAD_MM, RayTarget, cosine_rays
from glowsim.geometry.rows import unique_rows
from glowsim.optics.emission import luminance_shape
from glowsim.transport.hollows import Hollows
from glowsim.transport.problem import Copy

if TYPE_CHECKING:
    from glowsim.transport.result import BodyGlow

_FINE = (1_000_000, 8, 256)
"""Rays in all, the fewest and the most for each face."""
_ROUGH = (60_000, 2, 32)
"""The same where only whether it matters is to be told."""
BLACK = 1e-3
"""Faces that send back less than this share are taken as black."""
_SHARED_BY = 10_000
"""So many rays have a say in each face's light: its own and those of the faces around."""
_ENOUGH = 1e-3
"""Bounces are followed until one adds no more than this share to the brightest face."""
_THREADS = 2
_CHUNK = 1 << 16
"""Rays followed together: what belongs to them stays in the processor's own memory."""
_STEPS = np.array([0.8566749, 0.7338919, 0.6287067, 0.5385973])
"""Powers of the root of x^5 = x + 1: even points in four dimensions (Roberts, "The unreasonable
effectiveness of quasirandom sequences", 2018, from memory)."""


@dataclass(frozen=True)
class Air:
    """How the m faces of a prop see each other.

    white   : (m, 3) float, share of light sent back, per band
    seen    : (m, m) sparse, share of the light of a face's half space, by the cosine law, that
              comes from each other face if all are equally bright
    leaning : (m, m) sparse, the same for light that leaves each face as diffuse light does
    shut    : (m, 2) float, share of that half space where something is in the way, of directions
              that point up and down
    rays    : how many rays each face that is not black has sent out
    rough   : known in the mean over a body only
    """

    white: FloatArray
    seen: sparse.csr_matrix
    leaning: sparse.csr_matrix
    shut: FloatArray
    rays: int
    rough: bool
    _surfaces: tuple[BodyGlow, ...]
    _body: tuple[int, ...]

    def arriving(self, diffuse: FloatArray, direct: FloatArray, hollows: Hollows) -> FloatArray:
        """Return what falls on each face from others, after all bounces, (m, 3) float.

        diffuse, direct : (m, 3) float, what leaves each face first, per band
        hollows         : what light that falls into openings does
        """
        step = total = self.leaning @ diffuse + self.seen @ direct
        while step.max(initial=0.0) > _ENOUGH * total.max(initial=0.0):
            back = self.seen @ (self.white * step)
            step = back + self.leaning @ hollows.let_out(step) if hollows.counted else back
            total = total + step
        return self.smoothed(total)

    def smoothed(self, values: FloatArray) -> FloatArray:
        """Return values of all faces, (m, k), averaged around each over smooth surface."""
        if self.rough:
            return values
        result = np.array(values, dtype=float)
        start = 0
        for body in self._body:
            patchwork, radius = self._patchworks[body]
            rows = slice(start, start + len(patchwork.area))
            start = rows.stop
            if len(patchwork.area) and result[rows].any():
                result[rows] = np.maximum(patchwork.smoothed(result[rows], radius), 0.0)
        return result

    @cached_property
    def _patchworks(self) -> list[tuple[Patchwork, float]]:
        # A Gaussian of deviation s averages over the area 4 pi s^2.
        return [
            (
                Patchwork(body.surface, np.ones(len(body.glows), bool), _pieces(body)),
                float(np.sqrt(_SHARED_BY / self.rays * _mean_mm2(body) / (4 * np.pi))),
            )
            for body in self._surfaces
        ]


@dataclass(frozen=True)
class Faces:
    """The faces of all copies where they stand in the prop, copy after copy.

    triangles : (m, 3, 3) float [mm];  normals : (m, 3) float, unit;  areas_mm2 : (m,) float
    rays      : the same, ready for ray tests
    """

    triangles: FloatArray
    normals: FloatArray
    areas_mm2: FloatArray
    rays: RayTarget


def faces_in_place(bodies: Sequence[BodyGlow], copies: Sequence[Copy]) -> Faces:
    """Return the faces of all copies."""
    meshes = [bodies[copy.body].surface.moved(copy.transform) for copy in copies]
    triangles = np.concatenate([np.zeros((0, 3, 3)), *(mesh.triangles for mesh in meshes)])
    normals = np.concatenate([np.zeros((0, 3)), *(mesh.normals for mesh in meshes)])
    areas = np.concatenate([np.zeros(0), *(mesh.areas_mm2 for mesh in meshes)])
    corners = np.concatenate([np.zeros((0, 3)), *(mesh.vertices for mesh in meshes)])
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    numbered = [mesh.faces + start for mesh, start in zip(meshes, starts, strict=False)]
    faces = np.concatenate([np.zeros((0, 3), np.int64), *numbered])
    return Faces(triangles, normals, areas, RayTarget(corners, faces))


def air_between(
    faces: Faces, bodies: tuple[BodyGlow, ...], copies: Sequence[Copy], rough: bool = False
) -> Air:
    """Return how the faces of all copies see each other."""
    own = [bodies[copy.body] for copy in copies]
    white = _white(bodies, copies)
    index = np.concatenate([np.zeros(0), *(body.face_index for body in own)])
    hole = np.concatenate([np.zeros(0, bool), *(body.hole for body in own)])
    senders = np.flatnonzero((white.max(axis=1, initial=0.0) > BLACK) | hole)
    rays_in_all, least, most = _ROUGH if rough else _FINE
    rays = int(np.clip(rays_in_all // max(len(senders), 1), least, most))
    step = max(1, _CHUNK // rays)

    def part(start: int) -> _Met:
        return _met(faces, index, senders[start : start + step], rays)

    with ThreadPoolExecutor(_THREADS) as pool:
        parts = list(pool.map(part, range(0, len(senders), step)))
    nothing = (np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    face, met, upward, shape = (np.concatenate(k) for k in zip(nothing, *parts, strict=True))
    count = len(white)
    shut = [np.bincount(face[way], minlength=count) for way in (upward > 0, upward <= 0)]
    front = shape >= 0
    seen, leaning = (
        sparse.csr_matrix((weight / rays, (face[front], met[front])), shape=(count, count))
        for weight in (np.ones(np.count_nonzero(front)), shape[front])
    )
    return Air(
        white, seen, leaning, np.stack(shut, axis=1) / rays, rays, rough, bodies, _which(copies)
    )


def packed_air(air: Air) -> dict[str, NDArray[Any]]:
    """Return arrays from which `unpacked_air` makes the same again, to the last bit."""
    return {
        "rays": np.array(air.rays),
        "indptr": air.seen.indptr,
        "indices": air.seen.indices,
        "seen": air.seen.data,
        "leaning": air.leaning.data,
        "shut": np.rint(air.shut * air.rays).astype(np.uint16),  # whole rays
    }


def unpacked_air(
    packed: Mapping[str, NDArray[Any]],
    bodies: tuple[BodyGlow, ...],
    copies: Sequence[Copy],
    rough: bool,
) -> Air:
    """Return how the faces of all copies see each other, as `packed_air` was given it."""
    white, rays = _white(bodies, copies), int(packed["rays"])
    seen, leaning = (
        sparse.csr_matrix(
            (packed[name], packed["indices"], packed["indptr"]), shape=2 * (len(white),)
        )
        for name in ("seen", "leaning")
    )
    return Air(white, seen, leaning, packed["shut"] / rays, rays, rough, bodies, _which(copies))


def _white(bodies: Sequence[BodyGlow], copies: Sequence[Copy]) -> FloatArray:
    parts = (bodies[copy.body].whiteness for copy in copies)
    return np.concatenate([np.zeros((0, 3)), *parts])


def _which(copies: Sequence[Copy]) -> tuple[int, ...]:
    return tuple(copy.body for copy in copies)


_Met = tuple[IntArray, IntArray, FloatArray, FloatArray]


def _met(all_faces: Faces, index: FloatArray, faces: IntArray, rays: int) -> _Met:
    """Follow rays from all over faces; return for each that meets another face: which, both ways,
    how far the ray points up, and the shape of what comes back along it, -1 from behind."""
    normals = all_faces.normals
    place = (np.arange(rays)[:, None] * _STEPS)[None] + (faces[:, None] * _STEPS[::-1])[:, None]
    u, v, turn, share = np.moveaxis(place % 1.0, -1, 0)
    direction = cosine_rays(normals[faces], turn, share)
    root, v = np.sqrt(u).ravel()[:, None], v.ravel()[:, None]
    a, b, c = np.repeat(all_faces.triangles[faces], rays, axis=0).transpose(1, 0, 2)
    origin = (1 - root) * a + root * (1 - v) * b + root * v * c
    own = np.repeat(faces, rays)
    hits = all_faces.rays.first_hits(origin + AHEAD_MM * normals[own], direction)
    some = np.flatnonzero(hits.face >= 0)
    met, ray = hits.face[some], direction[some]
    cosine = -np.einsum("nd,nd->n", normals[met], ray)
    # From behind, a face is the inside of another body: dark.
    shape = np.where(cosine > 0, luminance_shape(cosine, n=index[met]), -1.0)
    return own[some], met, ray[:, 2], shape


def smooth_corners_of(body: BodyGlow) -> tuple[IntArray, int]:
    """Return the smooth corner of each face's corners, (k, 3) int, and how many there are.

    Brightness may run across an edge only where the faces are of one kind: both meant to glow
    or not, both openings or not, equally white, of one index of refraction.
    """
    look = np.column_stack([body.glows, body.hole, np.round(body.whiteness, 6), body.face_index])
    return smooth_corners(body.surface, unique_rows(look)[1])


def _pieces(body: BodyGlow) -> IntArray:
    return smooth_pieces(*body.smooth_corners)


def _mean_mm2(body: BodyGlow) -> float:
    area = body.surface.areas_mm2
    return float(area.mean()) if len(area) else 0.0
