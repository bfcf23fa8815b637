"""A perspective camera that stands at the viewing distance and frames the whole prop."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.arrays import Floats, Numbers

FILL = 0.8
"""Share of the frame that the prop takes up, in width or height."""
LEAST_PX, MOST_PX = 16, 8192
"""Least and greatest side of a picture."""
LEAST_MAP_PX = 240
"""Views, scale and legend of a map need this much, each way."""
NEAREST = 2.0
"""The camera never stands nearer to the prop's middle than this many times its radius."""

Size = tuple[int, int]
"""Width and height in pixels."""


@dataclass(frozen=True)
class Camera:
    """A pinhole camera.

    eye_mm             : (3,) float, where it stands [mm]
    right, up, forward : (3,) float, unit, its axes
    half_height        : tangent of half the vertical angle of view
    size               : width and height in pixels; pixel (0, 0) is the upper left one
    """

    eye_mm: FloatArray
    right: FloatArray
    up: FloatArray
    forward: FloatArray
    half_height: float
    size: Size

    @property
    def key(self) -> str:
        """What tells this camera from others."""
        axes = (self.eye_mm, self.right, self.up, self.forward)
        return repr(([axis.tolist() for axis in axes], self.half_height, self.size))

    @property
    def pixel_deg(self) -> float:
        """Angle that a pixel in the middle of the frame covers [deg]."""
        return float(np.degrees(2 * self.half_height / self.size[1]))

    def pixel_mm(self, distance_mm: float) -> float:
        """Return the width of what a pixel covers at a distance along the axis [mm]."""
        return 2 * self.half_height / self.size[1] * distance_mm

    def refined(self, factor: int) -> Camera:
        """Return the same view with `factor` times the pixels each way."""
        return replace(self, size=(self.size[0] * factor, self.size[1] * factor))

    def turned(self, angle_deg: float, axis: FloatArray) -> Camera:
        """Return this camera carried round the vertical axis through `axis`, (3,) float [mm].

        Counter-clockwise seen from above, as a greater azimuth does.
        """
        c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return replace(
            self,
            eye_mm=axis + turn @ (self.eye_mm - axis),
            right=turn @ self.right,
            up=turn @ self.up,
            forward=turn @ self.forward,
        )

    def directions(self, columns: Numbers, rows: Numbers) -> Floats:
        """Return where pixels look, unit vectors (n, 3) float32.

        columns, rows : (n,) pixel numbers; the direction is that of the pixel's middle.
        """
        across, upward = self._tangents(columns, rows)
        length = np.sqrt(1 + across**2 + upward**2)
        axes = np.stack([self.forward, self.right, self.up]).astype(np.float32)
        return np.stack([1 / length, across / length, upward / length], axis=1) @ axes

    def stretch(self, columns: Numbers, rows: Numbers) -> Floats:
        """Return distance over depth, (n,) float32, of what pixels show."""
        across, upward = self._tangents(columns, rows)
        return np.sqrt(1 + across**2 + upward**2)

    def _tangents(self, columns: Numbers, rows: Numbers) -> tuple[Floats, Floats]:
        scale = np.float32(2 * self.half_height / self.size[1])
        middle = np.float32(self.size[0] / 2 - 0.5), np.float32(self.size[1] / 2 - 0.5)
        across = (columns.astype(np.float32) - middle[0]) * scale
        return across, (middle[1] - rows.astype(np.float32)) * scale

    def project(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return pixel coordinates (n, 2) and depth along the axis (n,) [mm] of points (n, 3)."""
        away = points - self.eye_mm
        depth = away @ self.forward
        scale = self.size[1] / (2 * self.half_height)
        column = self.size[0] / 2 + away @ self.right / depth * scale
        row = self.size[1] / 2 - away @ self.up / depth * scale
        return np.column_stack([column, row]), depth


def checked_size(size: Size, least_px: int = LEAST_PX) -> Size:
    """Return `size`; raise PictureError if it is not one a picture can have."""
    if not all(
        isinstance(side, (int, np.integer)) and least_px <= side <= MOST_PX for side in size
    ):
        raise PictureError(
            f"a picture of {size[0]} x {size[1]} pixels cannot be drawn; "
            f"each side must be a whole number from {least_px} to {MOST_PX}"
        )
    return (int(size[0]), int(size[1]))


def framed(
    points: FloatArray,
    *,
    azimuth_deg: float,
    elevation_deg: float,
    distance_mm: float,
    size: Size,
    fill: float = FILL,
) -> Camera:
    """Return a camera that has all `points`, (n, 3) float [mm], in the middle of its frame.

    At azimuth 0 it stands on the side of -y and looks along +y, with +x to the right; a greater
    azimuth moves it counter-clockwise seen from above. It stands `distance_mm` from the middle
    of the points, or as near as it can get without running into them. The angle of view
    is the one at which they take up `fill` of the frame. Raises PictureError for a size out of
    range.
    """
    size = checked_size(size)
    right, up, forward = _axes(azimuth_deg, elevation_deg)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    radius = float(np.linalg.norm(points - middle, axis=1).max())
    distance = max(distance_mm, NEAREST * radius)
    aspect = size[0] / size[1]
    eye, half = middle - distance * forward, 1.0
    # The frame's middle depends on where the eye is, and the eye on the middle: settles quickly.
    for _ in range(4):
        away = points - eye
        depth = away @ forward
        across, upward = away @ right / depth, away @ up / depth
        x, y = (across.min() + across.max()) / 2, (upward.min() + upward.max()) / 2
        half = max(np.abs(upward - y).max(), np.abs(across - x).max() / aspect, 1e-6) / fill
        eye = eye + distance * (x * right + y * up)
    return Camera(eye, right, up, forward, float(half), size)


def turned_points(points: FloatArray, axis: FloatArray, turns: int = 24) -> FloatArray:
    """Return the outline of `points`, (n, 3), turned all round a vertical axis through `axis`.

    Used to frame a turntable: whatever the angle, the prop stays within these points.
    """
    radius = np.hypot(*(points[:, :2] - axis[:2]).T)
    band = np.round((points[:, 2] - points[:, 2].min()) / max(np.ptp(points[:, 2]), 1e-9) * 40)
    widest = np.array([np.flatnonzero(band == b)[radius[band == b].argmax()] for b in set(band)])
    angle = 2 * np.pi * np.arange(turns) / turns
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    outline = np.zeros((len(widest), turns, 3))
    outline[:, :, :2] = axis[:2] + radius[widest, None, None] * ring
    outline[:, :, 2] = points[widest, 2, None]
    return outline.reshape(-1, 3)


def _axes(azimuth_deg: float, elevation_deg: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return right, up and forward."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    level = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
    upright = np.array([0.0, 0.0, 1.0])
    forward = np.cos(elevation) * level - np.sin(elevation) * upright
    return right, np.cross(right, forward), forward
