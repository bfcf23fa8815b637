"""Directions of scattered light."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def delta_eddington(*, mu_s_per_mm: ArrayLike, g: ArrayLike) -> tuple[Array, Array]:
    """Split the forward peak off: return mu_s* in 1/mm and g* of what is left.

    The share f = g^2 counts as not scattered: mu_s* = mu_s (1 - g^2), g* = g/(1 + g). The first
    two moments of Henyey-Greenstein are kept, mu_s' too (Joseph, Wiscombe & Weinman, J. Atmos.
    Sci. 33, 2452, 1976, from memory).
    """
    mean = np.asarray(g, dtype=float)
    return np.asarray(mu_s_per_mm, dtype=float) * (1.0 - mean**2), mean / (1.0 + mean)
