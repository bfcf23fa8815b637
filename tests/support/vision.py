"""How much contrast the eye needs, for checks."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


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
