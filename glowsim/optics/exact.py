"""Exact solutions of the transport equation for isotropic scattering.

They are the yardstick of the approximations in this room; the boundary coefficient is made
from them. Lengths are in mean free paths 1 / (mu_a + mu_s), c = mu_s / (mu_a + mu_s) is the
albedo.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import roots_legendre

Array = NDArray[np.float64]


def gauss_legendre(low: float, high: float, count: int) -> tuple[Array, Array]:
    """Return `count` Gauss-Legendre nodes and weights on the interval `low` to `high`."""
    nodes, weights = roots_legendre(count)
    half = 0.5 * (high - low)
    return low + half * (nodes + 1.0), half * weights


@lru_cache(maxsize=64)
def decay_constant(albedo: float) -> float:
    """Return k0 of the slowest decay exp(-k0 r), the root of c artanh(k0) = k0 (0 for c = 1).

    Case & Zweifel, Linear Transport Theory (1967), chapter 4, from memory. For albedos below
    about 0.06 the root is 1 to the precision of a float.
    """
    if albedo >= 1.0:
        return 0.0
    # With k0 = tanh(u / c) the equation is tanh(u / c) = u: smooth, its root inside 0 to 1.
    # Expanding tanh gives u^2 > 3 c^2 (1 - c) / c for the lower bracket.
    low = 0.5 * np.sqrt(3.0 * albedo * (1.0 - albedo)) * min(1.0, albedo)
    root = brentq(lambda u: np.tanh(u / albedo) - u, low, 1.0, xtol=1e-15, rtol=1e-14)
    return float(root)


def decay_constant_of_phase(*, albedo: float, g: float) -> float:
    """Return k0 of the slowest decay for Henyey-Greenstein scattering, albedo 0.2 or more.

    In the moments p_l of exp(-k x) the transport equation reads (2l+1) (1 - c g^l) p_l =
    k ((l+1) p_{l+1} + l p_{l-1}); it is solved for p_1 / p_0 as a continued fraction, which
    l = 0 then ties to 1 - c (derived; Case & Zweifel as above for g = 0).
    """
    if albedo >= 1.0:
        return 0.0
    order = np.arange(400)
    free = (2 * order + 1) * (1.0 - albedo * g**order)

    def gap(k: float) -> float:
        ratio = 0.0
        for degree in range(len(order) - 1, 0, -1):
            ratio = k * degree / (free[degree] - k * (degree + 1) * ratio)
        return float(free[0] - k * ratio)

    # The gap falls through zero at k0, and only then runs off to infinity.
    steps = 1.0 - np.linspace(1.0, 1e-6, 101) ** 2
    signs = np.array([gap(k) for k in steps]) < 0.0
    first = int(signs.argmax()) if signs.any() else len(steps) - 1
    last = steps[first] if signs.any() else 1.0 - 1e-15
    return float(brentq(gap, steps[first - 1], last, xtol=1e-14, rtol=1e-13))


def chandrasekhar_h(cosine: ArrayLike, *, albedo: float) -> Array:
    """Return Chandrasekhar's H function of isotropic scattering.

    The integral ln H = -(mu/pi) int_0^inf ln(1 - c arctan(t)/t) / (1 + mu^2 t^2) dt
    (Chandrasekhar, Radiative Transfer, 1960, section 38, from memory). The factor
    (t^2 + k0^2)/(t^2 + 1), whose integral is (1 + mu)/(1 + k0 mu) in closed form, is taken
    out first; what is left is smooth, also for c = 1 (derived).
    """
    mu = np.asarray(cosine, dtype=float)
    k0 = decay_constant(albedo)
    s, weight = gauss_legendre(0.0, 1.0, 128)
    # t = tan(x), with nodes crowding at x = pi/2, where small mu makes a narrow peak.
    x = 0.5 * np.pi * (1.0 - s**3)
    weight = weight * 1.5 * np.pi * s**2
    sin2, cos2 = np.sin(x) ** 2, np.cos(x) ** 2
    smooth = np.log((1.0 - albedo * x / np.tan(x)) / (sin2 + k0**2 * cos2))
    integral = (smooth / (cos2 + mu[..., None] ** 2 * sin2)) @ weight
    return (1.0 + mu) / (1.0 + k0 * mu) * np.exp(-mu / np.pi * integral)
