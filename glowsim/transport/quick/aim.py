"""Rays aimed at walls: for LEDs in air, whose light lands where the walls are.

Spreading rays by the beam alone leaves some faces with a ray more and some with a ray less, and
the glow with a grain. Here every patch of wall gets one ray that carries exactly what falls on
it, I(theta) cos(theta_wall) dA / r^2, so that the light on the walls is as smooth as they are.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import AHEAD_MM, Target
from glowsim.geometry.rows import unique_rows
from glowsim.transport.problem import BodyProblem, Emitters, Kind
from glowsim.transport.quick.beams import Rays, rays_of
from glowsim.transport.quick.sights import air_side
from glowsim.transport.quick.triangles import quartered

FAR_ENOUGH = 0.3
"""A patch of wall wider than this share of its distance from the LED is cut up."""
MOST_CUTS = 6
TRUSTED = 0.03
"""What falls on all patches may differ from the LED's flux by this share; it is then scaled."""


class Aims:
    """What LEDs in air aim at: the walls of a body's hollows."""

    def __init__(self, problem: BodyProblem, most_faces: int | None = None) -> None:
        """Take the walls as they are, or drawn with `most_faces` faces, about, for speed."""
        side = air_side(problem)
        faces = np.nonzero(side != 0)[0]
        self.triangles = problem.walls.triangles[faces]
        self.normals = problem.walls.normals[faces] * side[faces, None]
        self.slack_mm = 10 * AHEAD_MM
        """How far before its patch a ray may meet something and still count as meeting it."""
        if most_faces is not None and len(faces) > most_faces:
            # Corners of a square net stand apart by the root of twice a face's area.
            size = float(np.sqrt(2 * problem.walls.areas_mm2[faces].sum() / most_faces))
            self.triangles, self.normals = _coarser(self.triangles, self.normals, size)
            self.slack_mm = size / 4


def beams(
    problem: BodyProblem,
    target: Target,
    emitters: Emitters,
    rays_per_light: int,
    seed: int,
    aims: Aims | None = None,
) -> Iterator[Rays]:
    """Yield the rays of all emitters, bundle by bundle.

    LEDs in air aim at the walls; those inside material, and those too close to a wall to aim,
    spread `rays_per_light` by their beam.
    """
    aims = aims or Aims(problem)
    spread = np.ones(len(emitters.light), dtype=bool)
    for emitter in np.nonzero(problem.kind_of(emitters.region) == Kind.AIR)[0]:
        rays = _aimed(target, emitters, int(emitter), aims)
        if rays is not None:
            spread[emitter] = False
            yield rays
    if spread.any():
        yield rays_of(emitters, spread, rays_per_light, seed)


def _coarser(
    triangles: FloatArray, normals: FloatArray, size_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Return walls with all corners within a cube of `size_mm` drawn together in their middle."""
    corner = triangles.reshape(-1, 3)
    _, number = unique_rows(np.floor(corner / size_mm))
    count = np.bincount(number)
    middle = np.stack([np.bincount(number, c) for c in corner.T], axis=1) / count[:, None]
    faces = number.reshape(-1, 3)
    first, _ = unique_rows(np.sort(faces, axis=1))
    new, way = middle[faces[first]], normals[first]
    cross = np.cross(new[:, 1] - new[:, 0], new[:, 2] - new[:, 0])
    cross *= np.sign(np.einsum("nd,nd->n", cross, way))[:, None]
    length = np.linalg.norm(cross, axis=1)
    kept = length > 1e-6 * size_mm**2
    return new[kept], cross[kept] / length[kept, None]


def _aimed(target: Target, emitters: Emitters, emitter: int, aims: Aims) -> Rays | None:
    """Return the rays of one emitter, or None if the walls do not account for its flux."""
    origin = emitters.position[emitter]
    axis = emitters.direction[emitter]
    before = _before(origin, axis, aims.triangles, aims.normals)
    corners, normal = _patches(origin, aims.triangles[before], aims.normals[before])
    points, areas = _lit_parts(corners, (corners - origin) @ axis)
    away = points - origin
    distance = np.linalg.norm(away, axis=1)
    direction = away / np.maximum(distance, 1e-9)[:, None]
    leaving = direction @ axis
    arriving = -np.einsum("nd,nd->n", direction, normal)
    seen = (leaving > 0) & (arriving > 0)
    origins = np.broadcast_to(origin, (int(seen.sum()), 3))
    hits = target.first_hits(origins, direction[seen])
    # A ray that ends well before its patch has met something else, which has rays of its own.
    seen[seen] = hits.distance_mm > 0.998 * distance[seen] - aims.slack_mm
    exponent = emitters.exponent[emitter]
    intensity = (exponent + 1) / (2 * np.pi) * leaving[seen] ** exponent
    power = intensity * arriving[seen] * areas[seen] / distance[seen] ** 2
    total = power.sum()
    if not 1 - TRUSTED < total < 1 + TRUSTED:
        return None
    count = len(power)
    share = emitters.share[emitter] * power / total
    return Rays(
        np.repeat(origin[None], count, axis=0),
        direction[seen],
        np.repeat(share[:, None], 3, axis=1),
        np.full(count, emitters.region[emitter]),
        np.full(count, emitters.light[emitter]),
        np.asarray((np.arange(count) * 0.618033988749895) % 1.0),
        np.full(count, -1),
        np.ones(count),
    )


def _before(
    origin: FloatArray, axis: FloatArray, triangles: FloatArray, normals: FloatArray
) -> np.ndarray:
    """Return which triangles some light can fall on: ahead of the LED, and facing it.

    The board that an LED sits on lies just behind it, too near to be cut up.
    """
    away = triangles - origin
    ahead = (away @ axis).max(axis=1) > 0
    return ahead & (np.einsum("nd,nd->n", away[:, 0], normals) < 0)


def _patches(
    origin: FloatArray, triangles: FloatArray, normals: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return triangles (n, 3, 3) and normals (n, 3) of patches, small as seen from `origin`;
    nothing at all if some would have to be cut too often."""
    patches, ways = [], []
    for _ in range(MOST_CUTS + 1):
        centre = triangles.mean(axis=1)
        edge = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2).max(axis=1)
        small = edge <= FAR_ENOUGH * np.linalg.norm(centre - origin, axis=1)
        patches.append(triangles[small])
        ways.append(normals[small])
        triangles, normals = quartered(triangles[~small]), np.repeat(normals[~small], 4, axis=0)
    if len(triangles):
        return np.zeros((0, 3, 3)), np.zeros((0, 3))
    return np.concatenate(patches), np.concatenate(ways)


def _lit_parts(corners: FloatArray, ahead_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the middles (n, 3) and areas (n,) of what of triangles lies ahead of an LED.

    corners : (n, 3, 3) float;  ahead_mm : (n, 3) float, how far ahead each corner lies. The
    horizon cuts a corner off a triangle: that corner is what is ahead, or what is not.
    """
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area, middle = np.linalg.norm(cross, axis=1) / 2, corners.mean(axis=1)
    over = ahead_mm > 0
    count = over.sum(axis=1)
    cut = np.nonzero((count == 1) | (count == 2))[0]
    apex = np.where(count[cut] == 1, over[cut].argmax(axis=1), over[cut].argmin(axis=1))
    tip, height = corners[cut, apex], ahead_mm[cut, apex]
    share, reach = np.ones(len(cut)), np.zeros((len(cut), 3))
    for turn in (1, 2):
        other = (apex + turn) % 3
        along = height / (height - ahead_mm[cut, other])
        share *= along
        reach += along[:, None] * (corners[cut, other] - tip) / 3
    of_tip = tip + reach
    rest = (middle[cut] - share[:, None] * of_tip) / np.maximum(1 - share, 1e-12)[:, None]
    kept = count[cut] == 1
    middle[cut] = np.where(kept[:, None], of_tip, rest)
    area[cut] *= np.where(kept, share, 1 - share)
    return middle, area
