"""Directions of scattered light: the Henyey-Greenstein phase function.

p(cos) = (1 - g^2) / (4 pi (1 + g^2 - 2 g cos)^(3/2)), g the mean cosine (Henyey & Greenstein,
Astrophys. J. 93, 70, 1941, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def henyey_greenstein_per_sr(cos_angle: ArrayLike, *, g: ArrayLike) -> Array:
    """Return the phase function at a scattering angle, per steradian; its integral is 1."""
    mean = np.asarray(g, dtype=float)
    square = 1.0 + mean**2 - 2.0 * mean * np.asarray(cos_angle, dtype=float)
    return (1.0 - mean**2) / (4.0 * np.pi * square**1.5)


def henyey_greenstein_cos(uniform: ArrayLike, *, g: ArrayLike) -> Array:
    """Return the cosine of the scattering angle below which a share `uniform` of the light goes.

    The inverse of the cumulative distribution: uniform numbers from 0 to 1 give directions. With
    s = 2 u - 1 the usual form, divided out so that g = 0 needs no case of its own, is
    (g (3 - g^2)/2 + (1 + g^2)(s + g s^2/2)) / (1 + g s)^2 (derived).
    """
    mean = np.asarray(g, dtype=float)
    s = 2.0 * np.asarray(uniform, dtype=float) - 1.0
    top = 0.5 * mean * (3.0 - mean**2) + (1.0 + mean**2) * (s + 0.5 * mean * s**2)
    return np.clip(top / (1.0 + mean * s) ** 2, -1.0, 1.0)


def reduced_scattering_per_mm(*, mu_s_per_mm: ArrayLike, g: ArrayLike) -> Array:
    """Return mu_s' = mu_s (1 - g), the scattering that matters after many scatterings."""
    return np.asarray(mu_s_per_mm, dtype=float) * (1.0 - np.asarray(g, dtype=float))
