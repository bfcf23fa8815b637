"""What a pixel's code says of light: the standard curve, raw, or found from exposures."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from glowsim.calibration.image import UnreadableError
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.srgb import decode

CODES = 256
SMOOTH = 20.0
"""Weight of the curve's smoothness; noise of one code in 8 bits (common practice, no source)."""
MOST_SAMPLES = 200
"""Pixels that the curve is found from, spread over what is between dark and clipped."""

Response = Callable[[FloatArray], FloatArray]
"""From codes over the greatest one, (..., 3), to light, in any unit."""


def linear_response(share: FloatArray) -> FloatArray:
    """Return codes as they are."""
    return np.asarray(share, dtype=float)


def srgb_response(share: FloatArray) -> FloatArray:
    """Return light by the standard curve (IEC 61966-2-1)."""
    return decode(share)


def bracket_response(frames: Sequence[np.ndarray], exposure_s: Sequence[float]) -> Response:
    """Return the response that exposures of one view show.

    frames : (h, w, 3) float each, codes over the greatest one, same view. Raises UnreadableError
    where they show too little of it.
    """
    curves = []
    for channel in range(3):
        codes = np.array([_spread(frame[..., channel]) for frame in frames])
        chosen = _chosen(codes)
        curves.append(response_curve(codes[:, chosen], np.log(exposure_s)) if len(chosen) else None)
    known = [curve for curve in curves if curve is not None]
    if not known:
        raise UnreadableError(
            "these exposures have too few places that are neither dark nor clipped in two of them; "
            "take them a factor of 4 apart",
            "images",
        )
    # A channel that is dark all over follows the others.
    light = np.exp([known[0] if curve is None else curve for curve in curves])
    at = np.linspace(0.0, 1.0, CODES)

    def response(share: FloatArray) -> FloatArray:
        found = [np.interp(share[..., k], at, light[k]) for k in range(3)]
        return np.stack(found, axis=-1)

    return response


def response_curve(codes: np.ndarray, log_exposure: FloatArray) -> FloatArray:
    """Return ln of light for each code, (256,) float, 0 at code 128.

    codes : (exposures, pixels) int, 0 to 255;  log_exposure : (exposures,) float. Minimises
    sum (w (g(Z) - ln E - ln t))^2 + (SMOOTH w g'')^2 (Debevec & Malik, SIGGRAPH 1997, eq. 3),
    with the weight w a hat over the codes.
    """
    shots, pixels = codes.shape
    hat = np.minimum(np.arange(CODES), CODES - 1 - np.arange(CODES)) + 1.0
    weight = hat[codes] / hat.max()
    row = np.arange(shots * pixels)
    matrix = np.zeros((len(row) + CODES - 1, CODES + pixels))
    wanted = np.zeros(len(matrix))
    w = weight.ravel()
    matrix[row, codes.ravel()] = w
    matrix[row, CODES + np.tile(np.arange(pixels), shots)] = -w
    wanted[row] = w * np.repeat(log_exposure, pixels)
    matrix[len(row), CODES // 2] = 1.0
    middle = np.arange(1, CODES - 1)
    bend = len(row) + middle
    stiff = SMOOTH * hat[middle] / hat.max()
    for shift, share in ((-1, 1.0), (0, -2.0), (1, 1.0)):
        matrix[bend, middle + shift] = share * stiff
    return np.asarray(np.linalg.lstsq(matrix, wanted, rcond=None)[0][:CODES], dtype=float)


def _spread(share: np.ndarray) -> np.ndarray:
    """Return whole codes of 8 bits, (pixels,) int, of at most some 40 000 pixels of a grid."""
    step = max(1, int(np.sqrt(share.size / 40_000)))
    return np.round(share[::step, ::step].ravel() * (CODES - 1)).astype(int)


def _chosen(codes: np.ndarray) -> np.ndarray:
    """Return pixels that two exposures or more see well, evenly over their brightness."""
    well = ((codes > 4) & (codes < 251)).sum(axis=0) >= 2
    mine = np.flatnonzero(well)
    if len(mine) < 30:
        return mine[:0]
    order = mine[np.argsort(codes[:, mine].sum(axis=0), kind="stable")]
    return order[np.linspace(0, len(order) - 1, min(MOST_SAMPLES, len(order))).astype(int)]
