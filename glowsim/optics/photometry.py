"""Beams and luminance: lengths are millimetres, results cd/m^2."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from glowsim.units import per_m2

Array = NDArray[np.float64]

WHITE_PAPER_REFLECTANCE = 0.9
"""Of good white paper; common practice, no source."""


def lambertian_order(half_angle_deg: ArrayLike) -> Array:
    """Return m of a beam I0 cos^m whose intensity halves at `half_angle_deg` off the axis.

    m = ln 0.5 / ln cos. LED data sheets print the full angle, 120 deg for m = 1.
    """
    return np.log(0.5) / np.log(np.cos(np.radians(np.asarray(half_angle_deg, dtype=float))))


def luminance_of_emitter_cd_m2(exitance_lm_mm2: ArrayLike) -> Array:
    """Return the luminance of a Lambertian emitter, L = M / pi."""
    return per_m2(1.0) * np.asarray(exitance_lm_mm2, dtype=float) / np.pi


def luminance_of_surface_cd_m2(illuminance_lx: ArrayLike, *, reflectance: ArrayLike) -> Array:
    """Return the luminance of a matt surface in room light, L = rho E / pi."""
    return np.asarray(illuminance_lx, dtype=float) * np.asarray(reflectance, dtype=float) / np.pi


def luminance_of_white_paper_cd_m2(illuminance_lx: ArrayLike) -> Array:
    """Return the luminance of white paper (reflectance 0.9) in room light."""
    return luminance_of_surface_cd_m2(illuminance_lx, reflectance=WHITE_PAPER_REFLECTANCE)
