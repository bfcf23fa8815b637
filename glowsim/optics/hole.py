"""Light through a slab over a round hole: the middle of the far face sees less than an endless one.

The hole lets in an even beam; what scatters sideways past its rim is not made up for by light
from there.
"""

from __future__ import annotations

import numpy as np

from glowsim.optics.diffusion import effective_attenuation_per_mm, extrapolation_length_mm

_IMAGES = 200


def hole_share(
    *,
    hole_radius_mm: float,
    thickness_mm: float,
    mu_a_per_mm: float,
    mu_s_reduced_per_mm: float,
    n: float,
) -> float:
    """Return the exitance at the middle over that behind an endless beam of like irradiance.

    The beam stands for point sources at the depth 1 / mu_t' (half the slab, if that is less). The
    sum over their images (Contini, Martelli & Zaccanti, Appl. Opt. 36, 4587, 1997, from memory) is
    integrated over the hole: an image at height h gives (exp(-k h) - h exp(-k r) / r) / 2 with
    r^2 = h^2 + a^2 (derived). `slab_reflectance_transmittance` times this is what a meter on the
    middle reads over what it reads on the bare hole.
    """
    depth = min(1.0 / (mu_a_per_mm + mu_s_reduced_per_mm), 0.5 * thickness_mm)
    z = float(
        extrapolation_length_mm(
            mu_a_per_mm=mu_a_per_mm, mu_s_reduced_per_mm=mu_s_reduced_per_mm, n=n
        )
    )
    k = float(
        effective_attenuation_per_mm(
            mu_a_per_mm=mu_a_per_mm, mu_s_reduced_per_mm=mu_s_reduced_per_mm
        )
    )
    m = np.arange(-_IMAGES, _IMAGES + 1.0)
    whole = (1.0 - 2.0 * m) * thickness_mm
    positive = whole - 4.0 * m * z - depth
    negative = whole - (4.0 * m - 2.0) * z + depth

    def endless(height: np.ndarray) -> np.ndarray:
        return np.sign(height) * np.exp(-k * np.abs(height))

    def lost(height: np.ndarray) -> np.ndarray:
        r = np.hypot(height, hole_radius_mm)
        return height / r * np.exp(-k * r)

    everything = float(np.sum(endless(positive) - endless(negative)))
    return 1.0 - float(np.sum(lost(positive) - lost(negative))) / everything
