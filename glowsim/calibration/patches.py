"""Brightness of patches of a lit piece's surface, read from image files of one view."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import LEAST_PATCHES, Photo
from glowsim.calibration.merge import merged
from glowsim.calibration.pose import Pose
from glowsim.calibration.strip import (
    Strip,
    check_colour,
    check_light,
    left_out,
    toward_camera,
    views_of,
)
from glowsim.geometry.mesh import FloatArray

LEAST_PIXELS = 12
"""In a patch that can be read."""
RIM = 24
"""Corners of a patch as drawn."""


def patches_of(photo: Photo, folder: Path, normals: FloatArray) -> Strip:
    """Return the brightness of a photo's patches; raises UnreadableError.

    normals : (m, 3) float, of the surface at the middles of the patches
    """
    views = views_of(photo, folder)
    pose, frame = views.pose, views.frames[0]
    points = np.array(photo.patches_mm, dtype=float)
    toward = toward_camera(pose, points)
    across, up = tangents(normals, toward)
    turn = np.linspace(0.0, 2.0 * np.pi, RIM + 1)[:-1]
    circle = 0.5 * photo.width_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    pixels, rims = [], []
    for k, place in enumerate(points):
        plane = np.array([across[k], up[k]])
        found = _pixels(pose, place, plane, 0.5 * photo.width_mm)
        if (found < 0).any() or (found >= np.array(frame.size)).any():
            raise UnreadableError("this patch runs out of the image", "patches_mm", k)
        if len(found) < LEAST_PIXELS:
            raise UnreadableError(
                f"this patch has {len(found)} pixels in the image; {LEAST_PIXELS} are needed: take "
                "the photo from nearer or less aslant, or make width_mm greater",
                *("patches_mm", k),
            )
        pixels.append(found)
        rims.append(pose.pixels(place + circle @ plane))
    seen = views.seen(pixels)
    best = max(range(len(seen)), key=lambda k: int(seen[k].good.sum()))
    check_light(seen, LEAST_PATCHES, "the patches")
    values, good = merged(seen, views.times)
    check_colour(photo, seen[best])
    moved = np.stack([pose.along_mm(points, heading) for heading in (across, up)])
    lines = np.concatenate([[*rim, rim[0], [np.nan, np.nan]] for rim in np.array(rims)[good]])
    return Strip(
        points[good], 1e3 * np.arange(good.sum(), dtype=float), values[good], toward,
        moved[:, good], views.stray * float(values[good].max()), pose, views.frames[best], lines,
        left_out(seen, good),
    )  # fmt: skip


def tangents(normals: FloatArray, toward: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two directions along the surface, (m, 3) float each, that cross at right angles in
    the image too: across what the camera sees, and up toward it.

    normals : (m, 3) float;  toward : (3,) float, to the camera
    """
    aside = np.eye(3)[int(np.abs(toward).argmin())]
    across = np.cross(normals, toward)
    square_on = np.linalg.norm(across, axis=1) < 1e-3
    across[square_on] = np.cross(normals[square_on], aside)
    across /= np.linalg.norm(across, axis=1)[:, None]
    return across, np.cross(normals, across)


def _pixels(pose: Pose, place: FloatArray, plane: FloatArray, radius_mm: float) -> np.ndarray:
    """Return column and row of the pixels of a round patch, (n, 2) int.

    plane : (2, 3) float, directions along the surface
    """
    middle, *ends = pose.pixels(np.vstack([place, place + 2.0 * radius_mm * plane]))
    steps = [int(np.clip(np.ceil(1.5 * np.linalg.norm(e - middle)), 3, 80)) for e in ends]
    u, v = (radius_mm * np.linspace(-1.0, 1.0, 2 * n + 1)[1::2] for n in steps)
    aside, along = (grid.ravel() for grid in np.meshgrid(u, v))
    inside = aside**2 + along**2 <= radius_mm**2
    grid = place + np.column_stack([aside, along])[inside] @ plane
    return np.unique(np.floor(pose.pixels(grid)).astype(int), axis=0)
