"""What the eye makes of a luminance: glare."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


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
