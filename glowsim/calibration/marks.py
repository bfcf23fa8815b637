"""The marks card: four black squares, one of them ringed, found in an image by themselves."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import ndimage

from glowsim.calibration.image import Frame, UnreadableError
from glowsim.geometry.mesh import FloatArray

MARK_MM = 60.0
"""From the middle of the card to each mark, along x and along y."""
SQUARE_MM = 12.0
RING_MM = 18.0, 22.0
"""Inner and outer side of the ring."""
CORNERS = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
"""Of the marks over MARK_MM, the ringed one first, then round the card against the clock."""
SIDE_PX = 1000
"""Larger images are made smaller before marks are sought."""
DARK = 0.65
"""Share of the paper's code below which ink is assumed."""
LEAST_PX = 30
"""Area of a mark that can be told from noise, in the smaller image."""
MOST = 12
"""Candidates that are tried with each other, the largest first."""
AREA_OFF = 0.2
"""What the area of a mark may differ by from what the places of all four say, in the logarithm."""


@dataclass(frozen=True)
class _Spots:
    """Dark spots: middle (n, 2) float, area (n,) float [px], fill (n,) float."""

    middle: FloatArray
    area: FloatArray
    fill: FloatArray


def marks_in(frame: Frame) -> FloatArray:
    """Return where the card's marks are seen, (4, 2) float, pixels in the order of CORNERS.

    Raises UnreadableError where they are not all seen.
    """
    step = max(1, round(max(frame.size) / SIDE_PX))
    spots = _spots(_smaller(frame, step))
    square = np.flatnonzero((np.abs(spots.fill - 1.0) < 0.12) & (spots.area >= LEAST_PX))
    square = square[np.argsort(-spots.area[square])]
    ringed = [int(k) for k in square if _has_ring(spots, int(k))]
    if not ringed:
        raise UnreadableError(
            "the ringed mark of the marks card is not seen: is it hidden, in shadow or out of the "
            "image? The whole card must show, in room light"
        )
    best, places = AREA_OFF, None
    fewest = 3
    for first in ringed:
        like = np.abs(np.log(spots.area[square] / spots.area[first])) < np.log(4.0)
        plain = [int(k) for k in square[like] if k not in ringed][:MOST]
        fewest = min(fewest, len(plain))
        for three in combinations(plain, 3):
            order = _round(spots.middle, first, three)
            if order and (off := _area_off(spots, order)) < best:
                best, places = off, spots.middle[order]
    if places is None:
        seen = f"{fewest} of the three plain marks" if fewest < 3 else "no three plain marks"
        raise UnreadableError(
            f"the ringed mark of the marks card is seen and {seen} that belong to it: is one "
            "hidden, in shadow or out of the image? The card must lie flat and show whole"
        )
    return np.asarray(step * places, dtype=float)


def homography(plane: FloatArray, pixels: FloatArray) -> FloatArray:
    """Return the matrix that takes points of a plane to pixels, (3, 3) float, by least squares.

    plane, pixels : (n, 2) float, n >= 4. Direct linear transformation on points that are shifted
    and scaled first (Hartley, In defense of the eight-point algorithm, 1997; from memory).
    """
    here, there = _evened(plane), _evened(pixels)
    a, b = (_moved(t, p) for t, p in ((here, plane), (there, pixels)))
    one, zero = np.ones(len(a)), np.zeros((len(a), 3))
    a = np.column_stack([a, one])
    rows = np.vstack([
        np.hstack([a, zero, -b[:, :1] * a]),
        np.hstack([zero, a, -b[:, 1:] * a]),
    ])  # fmt: skip
    matrix = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    return np.asarray(np.linalg.inv(there) @ matrix @ here, dtype=float)


def eye_of(pixels: FloatArray, size: tuple[int, int], focal_px: float | None) -> FloatArray:
    """Return the direction from the card's middle to the camera, (3,) float, in the card's frame.

    pixels : (4, 2) float, of the marks;  focal_px : taken from the perspective if unknown
    """
    matrix = homography(MARK_MM * CORNERS, pixels - 0.5 * np.array(size, dtype=float))
    focal = focal_px or _focal(matrix, float(np.hypot(*size)))
    rays = matrix / np.array([[focal], [focal], [1.0]])
    rays *= np.sign(rays[2, 2]) / np.sqrt(np.linalg.norm(rays[:, 0]) * np.linalg.norm(rays[:, 1]))
    u, _, v = np.linalg.svd(np.column_stack([rays[:, :2], np.cross(rays[:, 0], rays[:, 1])]))
    eye = -(u @ v).T @ rays[:, 2]
    return np.asarray(eye / np.linalg.norm(eye), dtype=float)


def _focal(matrix: FloatArray, diagonal: float) -> float:
    """Return the focal length with which the card's x and y are square and alike in length."""
    (a, b), (c, d), (e, f) = matrix[0, :2], matrix[1, :2], matrix[2, :2]
    flat, deep = (
        np.array([a * b + c * d, a * a + c * c - b * b - d * d]),
        np.array([e * f, e * e - f * f]),
    )
    squared = -float(flat @ deep) / max(float(deep @ deep), 1e-300)
    usual = 0.65 * diagonal  # seen straight on there is no perspective to tell it by
    return (
        float(np.sqrt(squared)) if (0.3 * diagonal) ** 2 < squared < (8 * diagonal) ** 2 else usual
    )


def _smaller(frame: Frame, step: int) -> FloatArray:
    """Return grey values 0 to 1, means over squares of step pixels."""
    height, width = (n // step * step for n in frame.codes.shape[:2])
    grey = frame.codes[:height, :width].mean(axis=2) / frame.full
    return np.asarray(
        grey.reshape(height // step, step, width // step, step).mean(axis=(1, 3)), dtype=float
    )


def _spots(grey: FloatArray) -> _Spots:
    """Return the dark spots of an image on what is bright round them."""
    smooth = ndimage.gaussian_filter(grey, 1.0)
    window = max(grey.shape) // 8 | 1
    paper = ndimage.gaussian_filter(ndimage.maximum_filter(smooth, window), window / 4)
    dark = (smooth < DARK * paper) & (paper > 0.1)
    label, count = ndimage.label(dark)
    found: list[tuple[float, float, float, float]] = []
    for number, part in enumerate(ndimage.find_objects(label, count), start=1):
        high, wide = (s.stop - s.start for s in part)
        if max(high, wide) > 1.5 * window or high * wide < LEAST_PX:
            continue
        row, column = np.nonzero(label[part] == number)
        spread = np.cov(row, column) if len(row) > 2 else np.zeros((2, 2))
        # The area of a parallelogram is twelve times the root of its moments' determinant,
        # however it lies; 1/12 is what whole pixels add to them.
        moments = float(np.sqrt(max(np.linalg.det(spread + np.eye(2) / 12), 1e-9)))
        middle = column.mean() + part[1].start + 0.5, row.mean() + part[0].start + 0.5
        found.append((*middle, len(row), len(row) / (12.0 * moments)))
    every = np.array(found).reshape(-1, 4)
    return _Spots(every[:, :2], every[:, 2], every[:, 3])


def _has_ring(spots: _Spots, k: int) -> bool:
    """Return whether a hollow spot has the same middle as a filled one."""
    apart = np.linalg.norm(spots.middle - spots.middle[k], axis=1)
    inner, outer = RING_MM
    share = spots.area / spots.area[k] / ((outer**2 - inner**2) / SQUARE_MM**2)
    hollow = (spots.fill < 0.5) & (share > 0.5) & (share < 2.0)
    return bool((hollow & (apart < 0.25 * np.sqrt(spots.area[k]))).any())


def _round(middle: FloatArray, first: int, others: tuple[int, ...]) -> list[int]:
    """Return spots in the order of CORNERS; none where they do not stand round a middle."""
    every = np.array([first, *others])
    away = middle[every] - middle[every].mean(axis=0)
    # Rows run downward in an image: against the clock is falling angle.
    turn = np.argsort(
        (np.arctan2(away[0, 1], away[0, 0]) - np.arctan2(away[:, 1], away[:, 0])) % (2 * np.pi)
    )
    ordered = away[turn]
    edge = np.roll(ordered, -1, axis=0) - ordered
    following = np.roll(edge, -1, axis=0)
    if (edge[:, 0] * following[:, 1] - edge[:, 1] * following[:, 0] >= 0).any():
        return []
    return [int(k) for k in every[turn]]


def _area_off(spots: _Spots, order: list[int]) -> float:
    """Return by how much the areas of four spots differ from those that a flat card would show
    with its marks at their places, the greatest, in the logarithm."""
    matrix = homography(MARK_MM * CORNERS, spots.middle[order])
    depth = np.column_stack([MARK_MM * CORNERS, np.ones(4)]) @ matrix[2]
    if depth.min() <= 0 < depth.max():
        return np.inf
    foreseen = SQUARE_MM**2 * np.abs(np.linalg.det(matrix)) / np.abs(depth) ** 3
    return float(np.abs(np.log(spots.area[order] / foreseen)).max())


def _evened(points: FloatArray) -> FloatArray:
    """Return the matrix that brings points to the middle and to a mean distance of one."""
    middle = points.mean(axis=0)
    far = float(np.linalg.norm(points - middle, axis=1).mean())
    return np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, far]]) / far


def _moved(matrix: FloatArray, points: FloatArray) -> FloatArray:
    return np.asarray(points @ matrix[:2, :2].T + matrix[:2, 2], dtype=float)
