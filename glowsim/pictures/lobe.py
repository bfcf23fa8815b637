"""Luminance of light that leaves a face in a bundle: bare LEDs seen through clear material.

A solver keeps the exitance of unscattered light and its mean direction. The shorter the mean
of unit vectors, the wider they are spread. The radiance is taken in proportion to a von
Mises-Fisher distribution about the mean direction, exp(kappa (cos - 1)), which is the broadest
that has it, and its scale is set so that its cosine-weighted integral over the half space in
front of the face is the exitance. So no view, however oblique, divides by a vanishing cosine.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from glowsim.geometry.mesh import FloatArray

MOST_KAPPA = 200.0
"""Narrowest bundle, about 4 deg to one standard deviation: an LED window of 3 mm seen through
40 mm. The solver's LEDs are points, and a real one is no point (derived)."""
LEAST_KAPPA = 0.1
_SAMPLES = 64


def concentration(mean_length: FloatArray) -> FloatArray:
    """Return kappa of a von Mises-Fisher distribution from the length R of its mean vector.

    kappa = R (3 - R^2) / (1 - R^2) (Banerjee et al., J. Mach. Learn. Res. 6, 1345 (2005), eq.
    4.4 in three dimensions), kept between LEAST_KAPPA and MOST_KAPPA.
    """
    r = np.clip(mean_length, 0.0, 1.0 - 1e-6)
    return np.clip(r * (3 - r**2) / (1 - r**2), LEAST_KAPPA, MOST_KAPPA)


def luminance_per_exitance(
    kappa: FloatArray, cos_axis_normal: FloatArray, cos_axis_view: FloatArray
) -> FloatArray:
    """Return luminance towards the viewer over exitance, [1/sr], for n faces.

    kappa, cos_axis_normal : (n,) float, of the bundle and of its axis to the face's normal
    cos_axis_view          : (n,) float, of its axis to the direction of the viewer
    The integral of this times the cosine over the half space in front is 1.
    """
    return np.exp(kappa * (cos_axis_view - 1.0)) / front_integral(kappa, cos_axis_normal)


def front_integral(kappa: FloatArray, cos_axis_normal: FloatArray) -> FloatArray:
    """Return the integral of exp(kappa (cos - 1)) cos(n) over the half space before a face."""
    kappa = np.clip(kappa, LEAST_KAPPA, MOST_KAPPA)
    # Across its mean, the logarithm runs nearly straight along log kappa: three digits.
    return np.exp(_table()(np.column_stack([np.log(kappa), np.clip(cos_axis_normal, -1, 1)])))


@cache
def _table() -> RegularGridInterpolator:
    """Tabulate the logarithm of the integral over log kappa and the axis' cosine."""
    kappas = np.geomspace(LEAST_KAPPA, MOST_KAPPA, 40)
    cosines = np.concatenate([np.linspace(-1, -0.3, 8)[:-1], np.linspace(-0.3, 1, 53)])
    quantile = (np.arange(_SAMPLES) + 0.5) / _SAMPLES
    turn = 2 * np.pi * quantile
    values = np.zeros((len(kappas), len(cosines)))
    for row, kappa in enumerate(kappas):
        # Quantiles of the cosine to the axis; between them the density is the same.
        whole = -np.expm1(-2 * kappa)
        w = 1 + np.log1p(-quantile * whole) / kappa
        sine = np.sqrt(np.maximum(1 - w**2, 0))
        along = cosines[:, None, None] * w[:, None]
        across = np.sqrt(np.maximum(1 - cosines**2, 0))[:, None, None] * sine[:, None]
        ahead = np.maximum(along + across * np.cos(turn), 0.0).mean(axis=(1, 2))
        values[row] = np.log(np.maximum(ahead, 1e-6) * 2 * np.pi * whole / kappa)
    return RegularGridInterpolator((np.log(kappas), cosines), values)
