"""What the eye makes of a luminance: glare, contrast sensitivity, looking lit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SELF_LUMINOUS_RATIO = 1.7
"""A surface begins to look self-luminous at about this multiple of the luminance of white paper
in the same light; more for large ones (Bonato & Gilchrist, Perception 23, 991, 1994)."""


def glare_spread_per_sr(
    angle_deg: ArrayLike, *, age_years: ArrayLike = 25.0, pigmentation: ArrayLike = 0.5
) -> Array:
    """Return the veiling luminance that a glare source adds, in cd/m^2 per lx at the eye.

    `angle_deg` is the angle to the source, valid from 0.1 to 100; `pigmentation` is 0 for very
    dark eyes, 0.5 brown, 1.0 blue-green. The CIE general disability glare function (CIE 135/1
    and 146:2002): 10/t^3 + (5/t^2 + 0.1 p/t)(1 + (A/62.5)^4) + 0.0025 p.
    """
    theta, p = np.asarray(angle_deg, dtype=float), np.asarray(pigmentation, dtype=float)
    age = 1.0 + (np.asarray(age_years, dtype=float) / 62.5) ** 4
    return 10.0 / theta**3 + (5.0 / theta**2 + 0.1 * p / theta) * age + 0.0025 * p


def contrast_sensitivity(
    cycles_per_deg: ArrayLike, *, luminance_cd_m2: ArrayLike, field_deg: ArrayLike
) -> Array:
    """Return 1 / (smallest visible modulation) of a grating of a spatial frequency.

    `field_deg` is the side of the square that the grating fills. Barten's simplified formula
    (Formula for the contrast sensitivity of the human eye, Proc. SPIE 5294, 2004, from memory):
    5200 exp(-0.0016 u^2 (1 + 100/L)^0.08)
    / sqrt((1 + 144/X^2 + 0.64 u^2)(63/L^0.83 + 1/(1 - exp(-0.02 u^2)))).
    """
    u2 = np.asarray(cycles_per_deg, dtype=float) ** 2
    luminance = np.asarray(luminance_cd_m2, dtype=float)
    blur = np.exp(-0.0016 * u2 * (1.0 + 100.0 / luminance) ** 0.08)
    extent = 1.0 + 144.0 / np.asarray(field_deg, dtype=float) ** 2 + 0.64 * u2
    noise = 63.0 / luminance**0.83 - 1.0 / np.expm1(-0.02 * u2)
    return 5200.0 * blur / np.sqrt(extent * noise)


def self_luminous_threshold_cd_m2(white_paper_cd_m2: ArrayLike) -> Array:
    """Return the luminance from which a surface looks lit beside white paper in the same light."""
    return SELF_LUMINOUS_RATIO * np.asarray(white_paper_cd_m2, dtype=float)
