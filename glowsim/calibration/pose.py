"""Where the camera stood, from points of the body found in its image."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from glowsim.calibration.image import UnreadableError
from glowsim.geometry.mesh import FloatArray

TILT_DEG = 8.0
"""What the direction toward the camera may be off by."""
FOCAL_KNOWN, FOCAL_GUESSED = 0.03, 1.0
"""Doubt of a focal length that a file names, and of one that nobody knows (the image may be cut
out of a larger one), in the logarithm."""
DISTANCE_KNOWN, DISTANCE_GUESSED = 0.1, 0.4
USUAL_DISTANCE_MM = 600.0
STRAY = 4.0
"""Deviations from which a point does not belong."""
USUAL_FOCAL = 0.65
"""Focal length over the diagonal of the frame: a phone's main lens (common practice, no source)."""


@dataclass(frozen=True)
class Known:
    """What is known of a camera before its points are found in the image.

    points : (n, 3) float, on the body;  toward : (3,) float, roughly, from the body to the camera
    size   : width and height of the image;  click_px : what a found point may be off by
    """

    points: FloatArray
    toward: FloatArray
    size: tuple[int, int]
    click_px: float
    distance_mm: float | None
    focal_px: float | None


@dataclass(frozen=True)
class Pose:
    """A pinhole camera in the body's frame.

    middle          : (2,) float, pixel in the middle of the frame
    unknowns, doubt : (7,) and (7, 7) float, see `_pixels`, and their covariance
    base, focus_mm  : axes and point that they are about
    """

    unknowns: FloatArray
    base: FloatArray
    focus_mm: FloatArray
    middle: FloatArray
    doubt: FloatArray

    def pixels(self, points: FloatArray) -> FloatArray:
        """Return where points appear, (n, 2) float.

        points : (n, 3) float
        """
        return _pixels(self.unknowns, self.base, self.focus_mm, self.middle, points)

    @property
    def axes(self) -> FloatArray:
        """Rows right, down, forward, (3, 3) float."""
        return _axes(self.unknowns, self.base)

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return float(np.exp(self.unknowns[6]))

    @property
    def eye_mm(self) -> FloatArray:
        """Where the camera stood, (3,) float."""
        axes, distance = self.axes, float(np.exp(self.unknowns[3]))
        across, down = self.unknowns[4:6] * distance
        return self.focus_mm - distance * axes[2] - across * axes[0] - down * axes[1]

    def moved_px(self, points: FloatArray) -> FloatArray:
        """Return by how much one deviation of each unknown moves points in the image, (7, n, 2)
        float; unknowns made independent."""
        step = 1e-4
        root = np.linalg.cholesky(self.doubt + 1e-18 * np.eye(7))
        here = self.pixels(points)
        moved = [
            _pixels(self.unknowns + step * column, self.base, self.focus_mm, self.middle, points)
            for column in root.T
        ]
        return (np.array(moved) - here) / step

    def rays(self, pixels: FloatArray) -> FloatArray:
        """Return the ways from the eye that pixels look, (n, 3) float, of length 1.

        pixels : (n, 2) float
        """
        local = np.column_stack([(pixels - self.middle) / self.focal_px, np.ones(len(pixels))])
        return np.asarray(local @ self.axes / np.linalg.norm(local, axis=1)[:, None], dtype=float)

    def along_mm(self, points: FloatArray, heading: FloatArray) -> FloatArray:
        """Return by how much one deviation of each unknown moves what is seen at points along a
        heading on the body, (n, 7) float [mm]; unknowns made independent.
        """
        per_mm = self.pixels(points + 0.5 * heading) - self.pixels(points - 0.5 * heading)
        along = (self.moved_px(points) * per_mm).sum(axis=2) / (per_mm**2).sum(axis=1)
        return np.asarray(along.T, dtype=float)


def pose_of(pixels: FloatArray, known: Known) -> Pose:
    """Return where the camera stood, likeliest given points and what is roughly known.

    pixels : (n, 2) float, where the points were found
    Raises UnreadableError where the points do not fit together, naming those that look swapped.
    """
    points = known.points
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    if apart.max() < 10.0:
        raise UnreadableError("these points lie within 10 mm of each other", "points")
    pose, off = _solved(pixels, known)
    if off.max() <= STRAY:
        return pose
    for i, j in combinations(range(len(pixels)), 2):
        swapped = pixels.copy()
        swapped[[i, j]] = pixels[[j, i]]
        if _solved(swapped, known)[1].max() <= STRAY:
            raise UnreadableError(
                f"points {i + 1} and {j + 1} look swapped: the other way round they fit", "points"
            )
    worst = int(off.argmax())
    raise UnreadableError(
        f"the points do not fit together: point {worst + 1} lies {off[worst] * known.click_px:.0f} "
        "pixels from where the others put it; check its pixel, its place on the body and 'toward'",
        *("points", worst),
    )


def _solved(pixels: FloatArray, known: Known) -> tuple[Pose, FloatArray]:
    """Return the likeliest pose and how far off each point is, (n,) float, in clicks."""
    points, focal_px, distance_mm = known.points, known.focal_px, known.distance_mm
    middle = 0.5 * np.array(known.size, dtype=float)
    focus = points.mean(axis=0)
    base = _facing(known.toward)
    # Seen from afar a picture is the flat body turned, scaled and shifted: three of seven unknowns.
    flat = (points - focus) @ base[:2].T
    here, there = (v[:, 0] + 1j * v[:, 1] for v in (flat, pixels - pixels.mean(axis=0)))
    turn = (here.conj() @ there) / max(float((here.conj() @ here).real), 1e-9)
    focal = focal_px or USUAL_FOCAL * float(np.hypot(*known.size))
    start = np.zeros(7)
    start[2] = np.angle(turn)
    scale = max(abs(turn), 1e-6)
    # Focal length and distance together make the scale; between them their doubts decide.
    doubts = np.array(
        [
            FOCAL_KNOWN if focal_px else FOCAL_GUESSED,
            DISTANCE_KNOWN if distance_mm else DISTANCE_GUESSED,
        ]
    )
    distance = distance_mm or USUAL_DISTANCE_MM
    gap = np.log(scale * distance / focal)
    share = doubts**2 / (doubts**2).sum()
    start[6], start[3] = np.log(focal) + share[0] * gap, np.log(distance) - share[1] * gap
    start[4:6] = (pixels.mean(axis=0) - middle) / np.exp(start[6])
    tilt = np.radians(TILT_DEG)

    def off(unknowns: FloatArray) -> FloatArray:
        seen = _pixels(unknowns, base, focus, middle, points)
        believed = [
            unknowns[0] / tilt,
            unknowns[1] / tilt,
            (unknowns[3] - np.log(distance)) / doubts[1],
            (unknowns[6] - np.log(focal)) / doubts[0],
        ]
        return np.concatenate([((seen - pixels) / known.click_px).ravel(), believed])

    found = least_squares(off, start, x_scale=np.maximum(np.abs(start), 0.1), max_nfev=200)
    doubt = np.linalg.inv(found.jac.T @ found.jac + 1e-9 * np.eye(7))
    away = np.linalg.norm(found.fun[: 2 * len(pixels)].reshape(-1, 2), axis=1)
    return Pose(found.x, base, focus, middle, doubt), away


def _facing(toward: FloatArray) -> FloatArray:
    """Return axes of a camera that looks against `toward`, rows right, down, forward."""
    forward = -toward / np.linalg.norm(toward)
    up = np.array([0.0, 0.0, 1.0]) if abs(forward[2]) < 0.9 else np.array([0.0, 1.0, 0.0])
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(forward, right), forward])


def _axes(unknowns: FloatArray, base: FloatArray) -> FloatArray:
    # Tilt first, then roll about the line of sight, so that a prior on tilt leaves roll free.
    tilt = Rotation.from_rotvec([unknowns[0], unknowns[1], 0.0]).as_matrix()
    c, s = np.cos(unknowns[2]), np.sin(unknowns[2])
    roll = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(roll @ tilt @ base, dtype=float)


def _pixels(
    unknowns: FloatArray,
    base: FloatArray,
    focus_mm: FloatArray,
    middle: FloatArray,
    points: FloatArray,
) -> FloatArray:
    """Return where points appear.

    unknowns : two tilts, roll, ln distance to the focus, where the focus lies off the axis over
               distance (2), ln focal length in pixels
    """
    distance, focal = np.exp(unknowns[3]), np.exp(unknowns[6])
    local = (points - focus_mm) @ _axes(unknowns, base).T
    depth = np.maximum(local[:, 2] + distance, 1e-3)
    place = (local[:, :2] + unknowns[4:6] * distance) / depth[:, None]
    return np.asarray(middle + focal * place, dtype=float)
