"""How uncertain the brightness is that the photons so far add up to."""

from __future__ import annotations

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.reference.tallies import Tallies

BRIGHT_SHARE = 0.8
"""The brightest faces that together let out this share of the light are the bright ones."""
DARK = 200_000
"""A light of which not one of so many photons gets out is dark: there is no noise to bring down."""


def standard_error(tallies: Tallies, light: int) -> FloatArray:
    """Return the standard error of the share of light that leaves each face, (k, 3) float.

    A photon leaves once, so weights and their squares per photon give it without batches. Infinite
    while nothing has left and that may still change.
    """
    count = float(tallies.photons[light])
    if count < 2 or (count < DARK and not tallies.out[light].any()):
        return np.full(tallies.out.shape[1:], np.inf)
    mean = tallies.out[light] / count
    spread = np.maximum(tallies.square[light] / count - mean**2, 0.0)
    return np.sqrt(spread / (count - 1.0))


def noise_of(tallies: Tallies, light: int, areas_mm2: FloatArray) -> float:
    """Return the relative standard error on the bright faces of one light, worst of the bands.

    Bright are the faces of the greatest exitance that together let out BRIGHT_SHARE of the
    light; over them the root of the mean square relative error is taken, each face weighted by
    its area. Infinite while nothing has left, 0 once that is sure to stay so (DARK).
    """
    if tallies.photons[light] < 2:
        return np.inf
    error = standard_error(tallies, light)
    worst = 0.0
    for band in range(3):
        share = tallies.out[light, :, band] / tallies.photons[light]
        if share.sum() <= 0.0:
            continue
        order = np.argsort(-share / np.maximum(areas_mm2, 1e-12), kind="stable")
        carried = np.cumsum(share[order])
        bright = order[: int(np.searchsorted(carried, BRIGHT_SHARE * carried[-1])) + 1]
        relative = error[bright, band] / share[bright]
        area = areas_mm2[bright]
        worst = max(worst, float(np.sqrt((area * relative**2).sum() / area.sum())))
    if worst == 0.0 and tallies.photons[light] < DARK:
        return np.inf
    return worst
