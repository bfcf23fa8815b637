"""Closed forms that checks alone need: a half-space, a point source, a ray along the normal."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import quad_vec

from glowsim.optics.exact import Array, chandrasekhar_h, decay_constant


def semi_infinite_reflectance(cos_incidence: ArrayLike, *, albedo: float) -> Array:
    """Return what an index-matched half-space reflects of a beam: 1 - sqrt(1-c) H(mu0).

    Chandrasekhar, Radiative Transfer (1960), chapter V, from memory.
    """
    return 1.0 - np.sqrt(1.0 - albedo) * chandrasekhar_h(cos_incidence, albedo=albedo)


def point_source_fluence(distance_mfp: ArrayLike, *, albedo: float) -> Array:
    """Return the fluence rate about an isotropic point source of unit power, per mfp^2.

    Endless medium, isotropic scattering, 0 < albedo < 1: a discrete mode plus the continuum of
    singular modes, after Case, de Hoffmann & Placzek, Introduction to the Theory of Neutron
    Diffusion (1953); this form is derived, its limit of no scattering checked.
    """
    r = np.asarray(distance_mfp, dtype=float)
    c = albedo
    k0 = decay_constant(c)
    mode = k0**2 * (1.0 - k0**2) / (2.0 * np.pi * c * (c - 1.0 + k0**2))

    def continuum(s: float) -> Array:
        norm = (1.0 - c * s * np.arctanh(s)) ** 2 + (0.5 * np.pi * c * s) ** 2
        return np.exp(-r / s) / (s**2 * norm)

    # The open ends are left out: the integrand vanishes at both.
    tail, _ = quad_vec(continuum, 1.0e-12, 1.0 - 1.0e-13, epsabs=0.0, epsrel=1.0e-10, limit=2000)
    return (mode * np.exp(-k0 * r) + tail / (4.0 * np.pi)) / r


def reflectance_normal(*, n_from: ArrayLike, n_to: ArrayLike) -> Array:
    """Return the reflectance of a ray along the normal, ((n - 1) / (n + 1))^2."""
    ratio = np.asarray(n_from, dtype=float) / np.asarray(n_to, dtype=float)
    return ((ratio - 1.0) / (ratio + 1.0)) ** 2
