"""Beams, small sources, discs and grids of LEDs in closed form, for checks.

Lengths are millimetres; results are lx and cd/m^2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import k1

from glowsim.optics.photometry import lambertian_order
from glowsim.units import per_m2

Array = NDArray[np.float64]

MAX_LUMINOUS_EFFICACY_LM_W = 683.0
"""Luminous efficacy of light of 540 THz; exact, by the definition of the candela (SI, 2019)."""


def beam_flux_lm(peak_intensity_cd: ArrayLike, *, half_angle_deg: ArrayLike) -> Array:
    """Return the flux of a beam I0 cos^m: 2 pi I0 / (m + 1). A Lambertian one has pi I0."""
    order = lambertian_order(half_angle_deg)
    return 2.0 * np.pi * np.asarray(peak_intensity_cd, dtype=float) / (order + 1.0)


def beam_peak_cd(flux_lm: ArrayLike, *, half_angle_deg: ArrayLike) -> Array:
    """Return the intensity on the axis of a beam I0 cos^m: flux (m + 1) / (2 pi)."""
    order = lambertian_order(half_angle_deg)
    return np.asarray(flux_lm, dtype=float) * (order + 1.0) / (2.0 * np.pi)


def intensity_per_sr(cos_angle: ArrayLike, *, half_angle_deg: ArrayLike) -> Array:
    """Return the intensity per lumen of a beam cos^m at an angle to its axis; 0 behind it.

    The integral over the half-space in front is 1.
    """
    order = lambertian_order(half_angle_deg)
    ahead = np.clip(np.asarray(cos_angle, dtype=float), 0.0, None)
    return np.where(ahead > 0.0, (order + 1.0) / (2.0 * np.pi) * ahead**order, 0.0)


def illuminance_of_source_lx(
    intensity_cd: ArrayLike, *, distance_mm: ArrayLike, cos_incidence: ArrayLike = 1.0
) -> Array:
    """Return the illuminance of a surface lit by a small source: I cos / r^2."""
    per_mm2 = np.asarray(intensity_cd, dtype=float) / np.asarray(distance_mm, dtype=float) ** 2
    return per_m2(1.0) * per_mm2 * np.asarray(cos_incidence, dtype=float)


def illuminance_of_disc_lx(
    luminance_cd_m2: ArrayLike, *, radius_mm: ArrayLike, distance_mm: ArrayLike
) -> Array:
    """Return the illuminance on the axis of a Lambertian disc, facing it: pi L a^2/(a^2 + h^2)."""
    a2, h2 = np.asarray(radius_mm, dtype=float) ** 2, np.asarray(distance_mm, dtype=float) ** 2
    return np.pi * np.asarray(luminance_cd_m2, dtype=float) * a2 / (a2 + h2)


def led_grid_relative_illuminance(
    x_mm: ArrayLike, y_mm: ArrayLike, *, pitch_mm: float, depth_mm: float
) -> Array:
    """Return illuminance over its mean on a panel above an endless square grid of LEDs.

    Lambertian LEDs stand at all multiples of `pitch_mm`, the panel lies `depth_mm` before them,
    with nothing reflected. E / E_mean = sum over waves (a, b) of K(k h) cos(2 pi a x/p)
    cos(2 pi b y/p), k = (2 pi/p) sqrt(a^2 + b^2), K(t) = t K1(t) with K1 the modified Bessel
    function: Poisson's sum of the lattice of I0 h^2/r^4 (derived). E_mean is pi I0 / p^2.
    Waves are summed to K = 1e-16. x and y broadcast.
    """
    x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
    wave = 2.0 * np.pi / pitch_mm
    count = int(np.ceil(40.0 / (wave * depth_mm)))
    orders = np.arange(-count, count + 1)
    t = wave * depth_mm * np.hypot(orders[:, None], orders[None, :])
    amplitude = np.where(t > 0.0, t * k1(np.where(t > 0.0, t, 1.0)), 1.0)
    along_x = np.cos(wave * x[..., None] * orders)
    along_y = np.cos(wave * y[..., None] * orders)
    return np.einsum("...a,ab,...b->...", along_x, amplitude, along_y)
