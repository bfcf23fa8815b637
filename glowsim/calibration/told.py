"""What photons of the reference solver tell that the quick one is off, place by place.

Quick's errors are smooth: photons that leave by faces around a place tell of it too, and those of
all faces round the axis of the light. What is left to be doubted is what the photons' noise and
the way between them and the place leave of it.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial.distance import cdist

from glowsim.calibration.forward import Optics
from glowsim.calibration.prop import TestPiece, sharpened_by
from glowsim.errors import SolveError
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.rows import unique_rows

FEW = 0.3
"""Noise of a place from which its photons tell nothing: a logarithm of few leans to one side."""
PHOTONS, WORK = 1_000_000, 5e7
"""Followed for a piece that is learnt from, at most, and the work that they may take: three or
four seconds of processor time in each band."""
QUICK_ERROR, SMOOTH_MM = 0.06, 10.0
"""Of quick on a lit piece: what neighbours share (beside the reference along rods of resin and of
foam: 4 to 10 % over 20 mm, more close to the light)."""
COARSE_ERROR = 0.10
"""The same where cells are longer than a transport length."""
FACE_ERROR = 0.01
"""What each place is off by itself, by its few faces."""
LEFT = 0.25
"""Of what finer cells change, that may be left or too much (beside the reference on a short rod:
0.09 of 0.36 close to its light, up to 0.06 elsewhere)."""
RING_MM, REACH_MM = 3.0, 8.0
"""Faces within so much of each other, as the light sees them, are counted together; those further
from every place that is read tell nothing of it."""
Told = tuple[FloatArray, FloatArray]
"""Ln of what places really let out over what quick foresees, (m,) float, and what is left to be
doubted of that, (m, m) float."""


def told_by(
    counted: tuple[FloatArray, FloatArray], rows: FloatArray, here: FloatArray, quick: FloatArray
) -> Told:
    """Return what photons tell of places.

    counted : exitance of each face by photons and its variance, (k,) float each
    rows : (m, k) float, of each face in each place;  here : (m,) float, ln of them by quick
    quick : (m, m) float, covariance of what quick is off
    """
    light, variance = counted
    seen, noise = rows @ light, (rows * variance) @ rows.T
    told = np.sqrt(np.diag(noise)) < FEW * seen
    seen, noise = seen[told], noise[np.ix_(told, told)]
    off = np.log(seen) - here[told]
    doubt = quick[np.ix_(told, told)] + noise / np.outer(seen, seen)
    gain = np.linalg.solve(doubt, quick[told]).T
    return np.asarray(gain @ off), np.asarray(quick - gain @ quick[told])


def told_of(
    piece: TestPiece,
    optics: Optics,
    rows: FloatArray,
    here: FloatArray,
    quick: FloatArray,
    photons: int,
    work: float,
) -> Told:
    """Follow photons in a lit piece and return what they tell, see `told_by`; without a compiler,
    nothing."""
    try:
        counted = piece.counted(optics, photons, work)
    except SolveError:
        return np.zeros(len(here)), quick
    return told_by(counted, rows, here, quick)


def told_along(piece: TestPiece, weights: FloatArray, optics: Optics) -> Told:
    """Return what photons tell of readings on a lit piece; without a compiler, nothing.

    weights : (m, k) float, of each face in each reading
    """
    at = _from_the_light(piece)
    share = np.abs(weights) / np.abs(weights).sum(axis=1, keepdims=True)
    rings, ring_at = _rings(at, share @ at, piece.skin.area)
    rows, places = np.vstack([weights, rings]), np.vstack([share @ at, ring_at])
    sd = COARSE_ERROR if piece.too_coarse(optics) else QUICK_ERROR
    cells = LEFT * sharpened_by(piece, rows, optics)
    quick = sd**2 * np.exp(-0.5 * (cdist(places, places) / SMOOTH_MM) ** 2)
    quick += FACE_ERROR**2 * np.eye(len(rows)) + np.outer(cells, cells)
    here, read = np.log(np.maximum(rows @ piece.exitance(optics)[0], 1e-300)), len(weights)
    off, left = told_of(piece, optics, rows, here, quick, PHOTONS, WORK)
    return off[:read], left[:read, :read]


def _from_the_light(piece: TestPiece) -> FloatArray:
    """Return where faces lie as light sees them, (k, 2) float, along and off the axis of the
    lights; where these do not lie about one, (k, 3) float, where they lie."""
    leds, centre = piece.problem.emitters, piece.skin.centre
    flux = piece.weight[leds.light] * leds.share
    lit = flux > 0
    middle, axis = flux @ leds.position / flux.sum(), flux @ leds.direction
    length = float(np.linalg.norm(axis))
    if length < 0.9 * flux.sum():
        return centre

    def turned(points: FloatArray) -> FloatArray:
        along = (points - middle) @ (axis / length)
        off = np.linalg.norm(points - middle - along[:, None] * (axis / length), axis=1)
        return np.column_stack([along, off])

    return turned(centre) if turned(leds.position[lit])[:, 1].max() < SMOOTH_MM else centre


def _rings(at: FloatArray, places: FloatArray, area: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return weights of groups of faces near places that are read, (r, k), and where they lie."""
    near = np.flatnonzero(cdist(at, places).min(axis=1) < REACH_MM)
    _, group = unique_rows(np.floor(at[near] / RING_MM))
    rows = np.zeros((int(group.max(initial=-1)) + 1, len(area)))
    rows[group, near] = area[near]
    rows /= rows.sum(axis=1, keepdims=True)
    return rows, rows @ at
