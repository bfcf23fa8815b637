"""A photo of the finished prop beside what was foreseen, patch by patch, up to the camera's scale.

The surface that the camera sees is cut into patches; each is read in the photo and foreseen by the
quick solver. Photons of the reference solver then tell what quick is off there, as far as they are
many. What all may be off by stands in one covariance: whether photo and prediction part is judged
by all patches together and by the worst of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from scipy.stats import chi2, norm

from glowsim.calibration.forward import FREE, Optics
from glowsim.calibration.image import UnreadableError
from glowsim.calibration.lit import Photo
from glowsim.calibration.merge import merged
from glowsim.calibration.prop import SLOPE, TestPiece
from glowsim.calibration.strip import Views, check_light, views_of
from glowsim.calibration.told import told_of
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rays import RayTarget
from glowsim.optics.emission import luminance_shape
from glowsim.transport.problem import Kind

PATCHES_LONG = 14
LEAST_PATCH_MM = 4.0
LEAST_PIXELS = 9
LEAST_PATCHES = 8
FACING = 0.35
"""Cosine from which a face is seen well enough."""
MODEL_ERROR, OWN_ERROR = 0.08, 0.05
"""Of the quick solver: what neighbours share within SMOOTH_MM (beside the reference on a rod with
two boards: waves of 9 % over 30 mm), and what each patch is off by itself, by its few faces."""
SMOOTH_MM = 15.0
SHADED_ERROR = 0.2
"""The same behind a board, of the light of its own LEDs (`transport/quick/shaded.py`)."""
OWN_LED_MM = 1.0
"""How far off the plane of a board its own LEDs are, at most."""
PHOTONS, WORK = 300_000, 1e9
"""By which the reference solver tells what quick is off on a prop, and the work that they may
take: about a minute on two cores."""
KEPT_ERROR, PATCH_ERROR = 0.03, 0.04
"""What is left where the reference has told all, shared by neighbours and of each patch by itself:
real material is not quite what it follows, and a patch is a few faces (opinion)."""
MOVED_MM, AXES = 1.0, np.eye(3)
BOARD_MM = 0.3
"""What a board sits off its place along each axis, one deviation: half a millimetre at most."""
FALSE_ALARM = 0.05
"""Photos of props as drawn that are said to part, were the errors as stated: half of them by all
patches together, half by the worst one."""
OUTLINE_SD = 2.0
"""Deviations of camera and points by which a place must lie within the outline of the prop."""
NEIGHBOURS = 8
"""Patches from which the slope of light across the image is found."""
Report = Callable[[str], None]


@dataclass(frozen=True)
class Compared:
    """A photo beside its prediction.

    points  : (m, 3) float, middles of the patches;  pixels : (m, 2) float, where they are seen
    weights : (m, k) float, of the faces' exitance in each;  each : (leds, m) float, per lumen
    flux    : (leds,) float [lm];  by_material : (m, 2) float, slopes by ln mu_a and ln mu_s'
    by_board : (boards, 3, m) float, what moving each by MOVED_MM along x, y and z does to ln
    residual : (m,) float, ln of photo over prediction;  spread : (m, m) float, its covariance
    """

    views: Views
    points: FloatArray
    pixels: FloatArray
    weights: FloatArray
    each: FloatArray
    flux: FloatArray
    by_material: FloatArray
    by_board: FloatArray
    residual: FloatArray
    spread: FloatArray

    @property
    def foreseen(self) -> FloatArray:
        """Ln of the light of each patch, (m,) float."""
        return np.asarray(np.log(self.flux @ self.each), dtype=float)

    @property
    def off(self) -> FloatArray:
        """Ln of photo over prediction, less its mean: the scale is the camera's, (m,) float."""
        return np.asarray(self.residual - self.residual.mean(), dtype=float)

    @property
    def sd(self) -> FloatArray:
        """One deviation of `off` by both errors, (m,) float."""
        less = np.eye(len(self.residual)) - 1.0 / len(self.residual)
        return np.asarray(np.sqrt(np.diag(less @ self.spread @ less)), dtype=float)

    @cached_property
    def inverse(self) -> FloatArray:
        """Of `spread`, for the many causes that are tried, (m, m) float."""
        return np.asarray(np.linalg.inv(self.spread), dtype=float)

    @cached_property
    def chi_square(self) -> float:
        """Distance of photo and prediction by all patches; m - 1 if all is well."""
        return float(self.residual @ np.linalg.solve(self.spread, self.residual))

    @property
    def parted(self) -> float:
        """Deviations from which one patch of so many is further off than chance."""
        return float(norm.isf(0.25 * FALSE_ALARM / len(self.residual)))

    @property
    def together(self) -> bool:
        """Whether all patches together are further off than chance."""
        return bool(chi2.sf(self.chi_square, len(self.residual) - 1) < 0.5 * FALSE_ALARM)

    @property
    def parts(self) -> bool:
        """Whether photo and prediction part by more than both errors."""
        return self.together or bool((np.abs(self.off) > self.parted * self.sd).any())


def compared(
    photo: Photo, folder: Path, piece: TestPiece, optics: Optics, known: FloatArray, report: Report
) -> Compared:
    """Return a photo beside what a prop foretells.

    optics, known : the material, and the covariance of its two logarithms, (2, 2) float
    Raises UnreadableError for a photo that cannot be read, SolveError as a solve does.
    """
    views = views_of(photo, folder)
    report("looking at the photo")
    weights, points, pixels, values = _patches(views, piece)
    report("predicting it")
    emitters = piece.problem.emitters
    each = piece.shone_by(optics, piece.apart()) @ weights.T
    flux = piece.weight[emitters.light] * emitters.share
    moved = np.log(piece.exitance(optics) @ weights.T)
    by_material = (moved[1:] - moved[0]).T / SLOPE
    here, measured = np.log(flux @ each), np.log(values)
    by_board = _moved_boards(piece, optics, weights, flux) - here
    shared = [
        np.full(len(here), FREE),
        *_camera_off(views, photo, points, pixels, measured, here),
        *(BOARD_MM / MOVED_MM * by_board).reshape(-1, len(here)),
        *(by_material @ np.linalg.cholesky(known + 1e-12 * np.eye(2))).T,
    ]
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    alike = np.exp(-0.5 * (apart / SMOOTH_MM) ** 2)
    quick = MODEL_ERROR**2 * alike + OWN_ERROR**2 * np.eye(len(here))
    quick += sum(np.outer(s, s) for s in _behind_boards(piece, points, each, flux))
    report("following photons")
    off, left = told_of(piece, optics, weights, here, quick, PHOTONS, WORK)
    own = (photo.reading_error**2 + PATCH_ERROR**2) * np.eye(len(here))
    spread = own + left + KEPT_ERROR**2 * alike + sum(np.outer(s, s) for s in shared)
    return Compared(
        views, points, pixels, weights, each, flux, by_material, by_board,
        measured - here - off, np.asarray(spread, dtype=float),
    )  # fmt: skip


def _moved_boards(
    piece: TestPiece, optics: Optics, weights: FloatArray, flux: FloatArray
) -> FloatArray:
    """Return ln of the patches with each board moved along each axis, (boards, 3, m) float."""
    shone = [
        [
            piece.shone_by(optics, *piece.with_board_moved(int(board), way))
            for way in MOVED_MM * AXES
        ]
        for board in np.unique(piece.problem.emitters.light)
    ]
    return np.log(np.maximum(flux @ np.array(shone) @ weights.T, 1e-300))


def _behind_boards(
    piece: TestPiece, points: FloatArray, each: FloatArray, flux: FloatArray
) -> list[FloatArray]:
    """Return what one deviation of the light behind each board does to patches, (m,) each: the
    share of it that they have from the board's own LEDs, from its back on half its width down."""
    share = flux[:, None] * each / (flux @ each)
    leds, region = piece.problem.emitters.position, piece.problem.emitters.region
    solid = np.array([m.kind == Kind.SCATTERS for m in piece.problem.media])[region]
    found = []
    for board in piece.problem.boards:
        shape = board.shape
        gap = np.abs(shape.local(leds)[:, 2])
        own = shape.covers(shape.local(leds)) & (gap < OWN_LED_MM) & solid
        deep = (-shape.local(points)[:, 2] - shape.thickness_mm) / (0.5 * min(shape.size_mm))
        found.append(SHADED_ERROR * np.clip(deep, 0.0, 1.0) * share[own].sum(axis=0))
    return found


def _camera_off(
    views: Views,
    photo: Photo,
    points: FloatArray,
    pixels: FloatArray,
    measured: FloatArray,
    here: FloatArray,
) -> list[FloatArray]:
    """Return what one deviation of each of the camera's doubts does to patches, (m,) each:
    response, vignetting, stray light, where it stood, and how the points lie on the prop."""
    pose = views.pose
    far = np.linalg.norm(pixels - pose.middle, axis=1) / np.linalg.norm(pose.middle)
    slope = _slope(pixels, here)
    px_per_mm = pose.focal_px / float(np.linalg.norm(pose.eye_mm - points.mean(axis=0)))
    moved = [*pose.moved_px(points), *(photo.shift_mm * px_per_mm * np.eye(2)[:, None])]
    light = np.exp(measured - measured.max())
    return [
        photo.response_error * (measured - measured.max()),
        photo.vignetting * far**2,
        np.minimum(views.stray / light, 1.0),
        *((slope * move).sum(axis=1) for move in moved),
    ]


def _slope(pixels: FloatArray, value: FloatArray) -> FloatArray:
    """Return how a value of patches changes across the image, (m, 2) float by pixel: the plane
    through each patch and its neighbours."""
    apart = np.linalg.norm(pixels[:, None] - pixels[None], axis=2)
    near = np.argsort(apart, axis=1)[:, : NEIGHBOURS + 1]
    away = pixels[near] - pixels[near].mean(axis=1, keepdims=True)
    change = value[near] - value[near].mean(axis=1, keepdims=True)
    square = np.einsum("mka,mkb->mab", away, away)
    square += 1e-3 * np.trace(square, axis1=1, axis2=2)[:, None, None] * np.eye(2)
    pull = np.einsum("mka,mk->ma", away, change)
    return np.asarray(np.linalg.solve(square, pull[..., None])[..., 0], dtype=float)


def _patches(
    views: Views, piece: TestPiece
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return weights of faces (m, k), middles (m, 3), pixels (m, 2) and light (m,) of patches."""
    skin, pose = piece.skin, views.pose
    triangles = piece.problem.walls.triangles[piece.problem.skin]
    away = pose.eye_mm - skin.centre
    facing = np.asarray(
        np.einsum("kd,kd->k", away, skin.normal) / np.linalg.norm(away, axis=1), dtype=float
    )
    seen = facing > FACING
    start = skin.centre + 0.05 * skin.normal
    eye = np.broadcast_to(pose.eye_mm, start.shape)
    walls = RayTarget.of(piece.problem.walls)
    seen[seen] = ~walls.blocked(start[seen], eye[seen])
    seen[seen] = _within_outline(views, walls, triangles[seen])
    size = max(LEAST_PATCH_MM, float(np.ptp(skin.centre, axis=0).max()) / PATCHES_LONG)
    cell = np.floor((skin.centre - skin.centre.min(axis=0)) / size).astype(int)
    _, group = np.unique(cell, axis=0, return_inverse=True)
    width, height = views.frames[0].size
    rows: list[FloatArray] = []
    middles: list[FloatArray] = []
    places: list[np.ndarray] = []
    for number in np.unique(group[seen]):
        mine = np.flatnonzero(seen & (group.ravel() == number))
        spots = np.einsum("sc,kcd->skd", _WITHIN, triangles[mine]).reshape(-1, 3)
        pixels = np.unique(np.floor(pose.pixels(spots)).astype(int), axis=0)
        inside = ((pixels >= 0) & (pixels < (width, height))).all()
        if len(pixels) < LEAST_PIXELS or not inside:
            continue
        shown = skin.area[mine] * facing[mine]
        row = np.zeros(len(skin.area))
        row[mine] = shown / shown.sum() * luminance_shape(facing[mine], n=skin.index[mine])
        rows.append(row)
        middles.append(np.asarray(shown @ skin.centre[mine] / shown.sum(), dtype=float))
        places.append(pixels)
    if len(places) < LEAST_PATCHES:
        raise UnreadableError("too little of the prop is seen; check the points", "points")
    exposures = views.seen(places)
    check_light(exposures)
    values, good = merged(exposures, views.times)
    # Where stray light may be a fifth of it nothing can be said.
    good &= values > max(5.0 * views.stray, 1e-9) * values.max()
    middle = np.array(middles)
    return np.array(rows)[good], middle[good], pose.pixels(middle)[good], values[good]


def _within_outline(views: Views, walls: RayTarget, triangles: FloatArray) -> np.ndarray:
    """Return which faces stay on the prop when the camera is off by OUTLINE_SD deviations, (n,)
    bool: beside its outline the photo is dark, whatever the prop does.

    triangles : (n, 3, 3) float, faces that the camera sees
    """
    spots = np.einsum("sc,kcd->ksd", _WITHIN, triangles).reshape(-1, 3)
    pose = views.pose
    px_per_mm = pose.focal_px / np.linalg.norm(pose.eye_mm - spots, axis=1)[:, None]
    square = (pose.moved_px(spots) ** 2).sum(axis=0) + (views.photo.shift_mm * px_per_mm) ** 2
    seen, reach = pose.pixels(spots), OUTLINE_SD * np.sqrt(square)
    within = np.ones(len(spots), dtype=bool)
    for way in np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]):
        there = pose.rays(seen + way * reach)
        within &= walls.first_hits(np.broadcast_to(pose.eye_mm, there.shape), there).face >= 0
    return np.asarray(within.reshape(len(triangles), -1).all(axis=1), dtype=bool)


_WITHIN = np.array([[1, 1, 1], [4, 1, 1], [1, 4, 1], [1, 1, 4]]) / np.array([[3], [6], [6], [6]])
"""Places in a triangle that stand for it."""
