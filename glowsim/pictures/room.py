"""The light of the room: on the prop, on the table it stands on and on the wall behind it.

The room is two half spheres: from above, ceiling and upper walls send the luminance E/pi, where
E is the illuminance of a level surface; from below, floor and furniture send GROUND times that.
A surface whose normal has the height n_z then receives exactly
E ((1 + GROUND)/2 + (1 - GROUND)/2 n_z) = E (0.6 + 0.4 n_z): a level one E, an upright one 0.6 E.
Parts of the prop that stand in the way send their own glow instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import copy
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter1d, map_coordinates

from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import cosine_rays
from glowsim.optics.colour import black_body_xyz
from glowsim.optics.photometry import luminance_of_surface_cd_m2
from glowsim.optics.srgb import linear_from_xyz, xyz_from_linear
from glowsim.pictures.arrays import Floats
from glowsim.pictures.camera import Camera
from glowsim.pictures.stage import Stage
from glowsim.scene import Room

GROUND = 0.2
"""Light from below over light from above; common practice indoors, no source."""
BACKDROP_REFLECTANCE = 0.1
"""Of the table and of the wall: dark grey cloth; common practice, no source."""
THREADS = 2
"""Threads that a picture uses: what a small laptop has free."""

_TABLE_RAYS = 512
_RINGS, _SPOKES = 28, 36
_REACH = 6.0
"""The table is lit by the glow as far as this many radii of the prop."""
_COARSER = 4
"""The background is smooth: every so many pixels are enough."""
_LIFT_MM = 1e-3
_CHUNK = 1 << 19


@dataclass(frozen=True)
class Received:
    """What n surface points receive.

    room : (n,) float, of the room's light, 1 for an open level surface
    glow : (n, c) float, of the prop's own light, in the unit and bands of the exitance given
    """

    room: FloatArray
    glow: FloatArray


def illuminance_xyz(room: Room) -> FloatArray:
    """Return the illuminance of a level surface as CIE XYZ, (3,) float [lx].

    The light has the colour of a black body of the room's colour temperature, seen by an eye or
    camera that is set to daylight.
    """
    return room.illuminance_lx * black_body_xyz(room.light_temperature_k)


def open_share(normals: FloatArray) -> FloatArray:
    """Return what surfaces (n, 3) receive of the room's light where nothing is in the way."""
    return (1 + GROUND) / 2 + (1 - GROUND) / 2 * normals[:, 2]


def reflected_cd_m2(illuminance_xyz_lx: FloatArray, reflectance: FloatArray) -> FloatArray:
    """Return the luminance of matt surfaces as CIE XYZ, (n, 3) float [cd/m2].

    illuminance_xyz_lx : (n, 3) float [lx];  reflectance : (n, 3) float in red, green, blue,
    for which the primaries of sRGB stand.
    """
    back = xyz_from_linear(linear_from_xyz(illuminance_xyz_lx) * reflectance)
    return back / np.pi


def shut_share(shut: FloatArray) -> FloatArray:
    """Return how much of the room's light does not reach surfaces, (n,) float.

    shut : (n, 2) float, share of directions above and below where something is in the way
    """
    return shut @ np.array([1.0, GROUND])


def gather(
    stage: Stage,
    exitance: FloatArray,
    points: FloatArray,
    normals: FloatArray,
    ray_count: int,
) -> Received:
    """Return what `points` receive of the room and of the glow of the prop.

    exitance : (m, c) float, of the stage's triangles, taken as matt; c is 3 for CIE XYZ, or more
               for several glows at once
    points, normals : (n, 3) float
    Rays are spread by the cosine law; those that meet nothing cost no accuracy, for the open
    room is known exactly.
    """
    count = len(points)
    glow = exitance.astype(np.float32)
    step = max(1, _CHUNK // ray_count)
    slices = [slice(k, min(k + step, count)) for k in range(0, count, step)]

    def part(rows: slice) -> tuple[FloatArray, FloatArray]:
        return _gather(stage, glow, points[rows], normals[rows], ray_count, rows.start)

    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(part, slices))
    blocked = np.concatenate([p[0] for p in parts]) if parts else np.zeros(0)
    received = np.concatenate([p[1] for p in parts]) if parts else np.zeros((0, glow.shape[1]))
    return Received(np.maximum(open_share(normals) - blocked, 0.0), received)


def _gather(
    stage: Stage,
    glow: Floats,
    points: FloatArray,
    normals: FloatArray,
    ray_count: int,
    first: int,
) -> tuple[FloatArray, FloatArray]:
    """Return the room's light that is blocked (n,), and the glow received (n, c)."""
    count = len(points)
    direction = _cosine_rays(normals, ray_count, first)
    origin = np.repeat(points + _LIFT_MM * normals, ray_count, axis=0)
    hits = stage.rays.first_hits(origin, cast(FloatArray, direction))
    met = np.flatnonzero(hits.face >= 0)
    owner = met // ray_count
    face, ray = hits.face[met], direction[met]
    blocked = np.bincount(owner, np.where(ray[:, 2] > 0, 1.0, GROUND), minlength=count)
    # From behind, a face is the inside of another body: dark.
    front = np.einsum("nd,nd->n", stage.normals[face], ray) < 0
    owner_lit, face_lit = owner[front], face[front]
    received = [
        np.bincount(owner_lit, band[face_lit], minlength=count)
        for band in np.ascontiguousarray(glow.T)
    ]
    return blocked / ray_count, np.stack(received, axis=1) / ray_count


def _cosine_rays(normals: FloatArray, ray_count: int, first: int) -> Floats:
    """Return rays by the cosine law about normals, (n * ray_count, 3) float32.

    Hammersley points, moved about by the golden ratio from one surface point to the next.
    """
    number = np.arange(first, first + len(normals))[:, None]
    sample = np.arange(ray_count)
    bits = np.array([int(f"{k:020b}"[::-1], 2) / 2**20 for k in range(ray_count)])
    turn = (bits + number * 0.7548776662466927) % 1.0
    share = ((sample + 0.5) / ray_count + number * 0.5698402909980532) % 1.0
    return cosine_rays(normals, turn, share).astype(np.float32)


class Backdrop:
    """A dark table the prop stands on, and the dark wall behind, in the light of room and prop."""

    def __init__(self, stage: Stage, exitance_xyz_lx: FloatArray, room: Room) -> None:
        """Light the table; exitance_xyz_lx : (m, 3) float, of the stage's triangles [lm/m2]."""
        self._axis = stage.centre
        self._height_mm = float(stage.bounds[0, 2])
        self._radius_mm = max(float(np.hypot(*(stage.bounds[1] - stage.bounds[0])[:2])) / 2, 1.0)
        level = illuminance_xyz(room)
        self._wall = _matt(level * open_share(np.array([[0.0, 0.0, 0.0]]))[0])
        self._table = _matt(self._received_lx(stage, exitance_xyz_lx, level))

    def mixed(self, others: Sequence[Backdrop], weights: Sequence[float]) -> Backdrop:
        """Return this backdrop with the light of others, each times a weight, added."""
        result = copy(self)
        for other, weight in zip(others, weights, strict=True):
            result._wall = result._wall + weight * other._wall
            result._table = result._table + weight * other._table
        return result

    def luminance(self, camera: Camera) -> FloatArray:
        """Return the luminance behind the prop as CIE XYZ, (h, w, 3) float [cd/m2].

        The table fades into the wall where it ends, as a sheet of cloth does. From below its
        level there is only the wall.
        """
        width, height = camera.size
        coarse = replace(camera, size=(-(-width // _COARSER), -(-height // _COARSER)))
        bands = np.moveaxis(self._luminance(coarse), -1, 0)
        large = [
            Image.fromarray(band).resize((width, height), Image.Resampling.BICUBIC)
            for band in bands.astype(np.float32)
        ]
        return np.maximum(np.stack([np.asarray(band) for band in large], axis=-1), 0.0)

    def _luminance(self, camera: Camera) -> FloatArray:
        width, height = camera.size
        rows, columns = (grid.ravel() for grid in np.mgrid[0:height, 0:width])
        direction = camera.directions(columns, rows).astype(float)
        drop = self._height_mm - camera.eye_mm[2]
        picture = np.broadcast_to(self._wall, (height * width, 3)).copy()
        if drop < 0:
            down = direction[:, 2] < -1e-6
            reach = drop / direction[down, 2]
            away = camera.eye_mm[:2] + reach[:, None] * direction[down, :2] - self._axis[:2]
            ring, spoke = self._ring(np.hypot(*away.T)), np.arctan2(away[:, 1], away[:, 0])
            place = [np.clip(ring, 0, _RINGS - 1), spoke / (2 * np.pi) * _SPOKES % _SPOKES]
            lit = [
                map_coordinates(band, place, order=1, mode="grid-wrap")
                for band in np.moveaxis(self._table, -1, 0)
            ]
            fade = _smooth_step(ring, _RINGS * 0.7, _RINGS * 1.3)[:, None]
            picture[down] = (1 - fade) * np.stack(lit, axis=-1) + fade * self._wall
        return picture.reshape(height, width, 3)

    def _ring(self, away_mm: FloatArray) -> FloatArray:
        """Return the number of the ring at a distance from the axis; rings widen outwards."""
        return (_RINGS - 1) * np.sqrt(away_mm / (_REACH * self._radius_mm))

    def _received_lx(
        self, stage: Stage, exitance_xyz_lx: FloatArray, level: FloatArray
    ) -> FloatArray:
        """Return the illuminance of the table, (rings, spokes, 3) float XYZ [lx]."""
        ring = np.arange(_RINGS) / (_RINGS - 1)
        away = _REACH * self._radius_mm * ring**2
        angle = 2 * np.pi * np.arange(_SPOKES) / _SPOKES
        points = np.zeros((_RINGS, _SPOKES, 3))
        points[:, :, 0] = self._axis[0] + away[:, None] * np.cos(angle)
        points[:, :, 1] = self._axis[1] + away[:, None] * np.sin(angle)
        points[:, :, 2] = self._height_mm - 0.01
        up = np.broadcast_to([0.0, 0.0, 1.0], (_RINGS * _SPOKES, 3))
        got = gather(stage, exitance_xyz_lx, points.reshape(-1, 3), up, _TABLE_RAYS)
        lux = (got.room[:, None] * level + got.glow).reshape(_RINGS, _SPOKES, 3)
        # Rays leave some noise; light from a distance varies slowly.
        smooth = gaussian_filter1d(lux, 1.0, axis=1, mode="wrap")
        return gaussian_filter1d(smooth, 0.7, axis=0, mode="nearest")


def _matt(illuminance_xyz_lx: FloatArray) -> FloatArray:
    return luminance_of_surface_cd_m2(illuminance_xyz_lx, reflectance=BACKDROP_REFLECTANCE)


def _smooth_step(x: FloatArray, low: float, high: float) -> FloatArray:
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3 - 2 * t)
