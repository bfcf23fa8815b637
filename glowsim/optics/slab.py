"""Reflectance and transmittance of a wall: cloudy or clear, thin or endless.

The delta-P1 approximation of a plane slab with two smooth faces. The unscattered light is
followed exactly, with all its reflections between the faces; it dies at mu_a + mu_s (1 - g^2),
since the forward peak g^2 of the scattering counts as not scattered (Joseph, Wiscombe &
Weinman, J. Atmos. Sci. 33, 2452, 1976; Carp, Prahl & Venugopalan, J. Biomed. Opt. 9, 632, 2004).
What is scattered feeds the diffusion equation as a source q0 with a forward flux q1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import exprel

from glowsim.optics.boundary import BoundaryModel, boundary_coefficient
from glowsim.optics.exact import gauss_legendre
from glowsim.optics.fresnel import reflectance

Array = NDArray[np.float64]

_CLEAR_PER_MM = 1.0e-9
"""A transport coefficient below which light crosses any prop unscattered; keeps D finite."""


def slab_reflectance_transmittance(
    *,
    cos_incidence: ArrayLike,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    g: ArrayLike,
    n: ArrayLike,
    thickness_mm: ArrayLike,
    model: BoundaryModel = "haskell",
) -> tuple[Array, Array]:
    """Return the total reflectance and transmittance of a slab for a collimated beam.

    `cos_incidence` is taken outside, 1 for a beam along the normal; `n` is the index relative
    to what lies on both sides; `g` is the mean cosine of the scattering; `thickness_mm` may be
    infinite. Everything broadcasts. Reflectance includes the mirror part, transmittance the
    unscattered part. R + T + absorbed = 1 to round-off, and R + T = 1 without absorption;
    without scattering the result is exact.

    Measured against adding-doubling on sixteen slabs, normal incidence, n = 1 to 1.5: T within
    2.2 %, R within 0.021 (too high). `model` is Haskell's here, since the error of diffusion just
    under a lit face cancels with it; the transport coefficient gives 3.4 % and 0.028.
    """
    light = _Slab.of(
        mu_a_per_mm=mu_a_per_mm,
        mu_s_reduced_per_mm=mu_s_reduced_per_mm,
        g=g,
        n=n,
        thickness_mm=thickness_mm,
        model=model,
    )
    cos_outside = np.asarray(cos_incidence, dtype=float)
    cos_inside = np.sqrt(1.0 - (1.0 - cos_outside**2) / light.n**2)
    face = reflectance(cos_outside, n_from=1.0, n_to=light.n)
    once = np.exp(-light.extinction_per_mm * light.thickness_mm / cos_inside)
    down = (1.0 - face) / (1.0 - (face * once) ** 2)
    up = down * once * face
    ahead, back = light.diffuse_escape(cos_inside)
    reflected = face + up * once * (1.0 - face) + down * back + up * ahead
    transmitted = down * once * (1.0 - face) + down * ahead + up * back
    return reflected, transmitted


def layer_reflectance_transmittance(
    *,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    n: ArrayLike,
    thickness_mm: ArrayLike,
    g: ArrayLike = 0.0,
    model: BoundaryModel = "haskell",
) -> tuple[Array, Array]:
    """Return the total reflectance and transmittance of a wall in Lambertian light.

    The mean of `slab_reflectance_transmittance` over the hemisphere, weighted 2 mu dmu. This is
    the wall of a translucent shell lit from its hollow, and the look of a body in room light.

    Measured against adding-doubling on fifteen slabs: T within 4.5 %, R within 0.021, except
    thin dark walls (mu_a = mu_s', mu_s' d = 0.5: T 13 % high). With g left at 0 and mu_s' the
    same, T is within 6 % for mu_s' d >= 1. From mu_s' d = 2 and mu_a <= mu_s'/20 the closed form
    `diffusion.slab_diffuse_reflectance_transmittance` is better: within 0.8 %.
    """
    t, weight = gauss_legendre(0.0, 1.0, 24)
    # Nodes squared crowd at grazing incidence, where Fresnel reflection is steep.
    weight = weight * 4.0 * t**3
    reflected, transmitted = slab_reflectance_transmittance(
        cos_incidence=t**2,
        mu_a_per_mm=_column(mu_a_per_mm),
        mu_s_reduced_per_mm=_column(mu_s_reduced_per_mm),
        g=_column(g),
        n=_column(n),
        thickness_mm=_column(thickness_mm),
        model=model,
    )
    return reflected @ weight, transmitted @ weight


def clear_slab_reflectance_transmittance(
    *, cos_incidence: ArrayLike, mu_a_per_mm: ArrayLike, n: ArrayLike, thickness_mm: ArrayLike
) -> tuple[Array, Array]:
    """Return reflectance and transmittance of a slab that absorbs but does not scatter.

    Exact: the geometric series of reflections between the faces, incoherent (textbook).
    """
    cos_outside, index = np.asarray(cos_incidence, dtype=float), np.asarray(n, dtype=float)
    cos_inside = np.sqrt(1.0 - (1.0 - cos_outside**2) / index**2)
    face = reflectance(cos_outside, n_from=1.0, n_to=index)
    once = np.exp(-np.asarray(mu_a_per_mm) * np.asarray(thickness_mm) / cos_inside)
    transmitted = (1.0 - face) ** 2 * once / (1.0 - (face * once) ** 2)
    return face * (1.0 + once * transmitted), transmitted


def _column(value: ArrayLike) -> Array:
    """Return `value` with a last axis of length 1, to broadcast against the angles."""
    return np.asarray(value, dtype=float)[..., None]


@dataclass(frozen=True)
class _Slab:
    """A slab in the terms of delta-P1; all fields broadcast."""

    n: Array
    thickness_mm: Array
    scattering_per_mm: Array
    """Scattering out of the beam, mu_s (1 - g^2)."""
    extinction_per_mm: Array
    """Loss of the beam, mu_a + mu_s (1 - g^2)."""
    forward: Array
    """Forward flux of the scattered light, g* / mu_tr, in mm."""
    decay_per_mm: Array
    """k = sqrt(mu_a / D)."""
    reach: Array
    """b = k z_e."""

    @classmethod
    def of(
        cls,
        *,
        mu_a_per_mm: ArrayLike,
        mu_s_reduced_per_mm: ArrayLike,
        g: ArrayLike,
        n: ArrayLike,
        thickness_mm: ArrayLike,
        model: BoundaryModel,
    ) -> _Slab:
        mu_a, reduced, mean_cosine, index, thickness = (
            np.asarray(v, dtype=float)
            for v in (mu_a_per_mm, mu_s_reduced_per_mm, g, n, thickness_mm)
        )
        transport = np.maximum(mu_a + reduced, _CLEAR_PER_MM)
        extrapolation = 2.0 * boundary_coefficient(index, model=model) / (3.0 * transport)
        decay = np.sqrt(3.0 * mu_a * transport)
        # Endless: deep enough that no more than exp(-60), or 1e-6 without absorption, gets there.
        depth = np.where(decay > 0.0, 60.0 / np.where(decay > 0.0, decay, 1.0), np.inf)
        depth = np.minimum(depth, 1.0e6 * (extrapolation + 1.0 / transport))
        thickness = np.where(np.isinf(thickness), depth, thickness)
        # Without absorption the solution is a straight line; so slow a decay draws it to 1e-10.
        decay = np.maximum(decay, 1.0e-5 / (thickness + extrapolation))
        scattering = reduced * (1.0 + mean_cosine)
        return cls(
            n=index,
            thickness_mm=thickness,
            scattering_per_mm=scattering,
            extinction_per_mm=mu_a + scattering,
            forward=mean_cosine / (1.0 + mean_cosine) / transport,
            decay_per_mm=decay,
            reach=decay * extrapolation,
        )

    def diffuse_escape(self, cos_inside: Array) -> tuple[Array, Array]:
        """Return what a beam entering one face lets out diffusely by the far and by the near face.

        Per unit of power in the beam. With psi(z) the chance that light scattered at depth z
        gets out by the far face, -D psi'' + mu_a psi = 0, psi(d) + z_e psi'(d) = 1,
        psi(0) - z_e psi'(0) = 0, partial integration of the diffusion equation and its boundary
        conditions, both with the full flux J = -D phi' + q1 / mu_tr, gives

            out at the far face = int (q0 psi + q1 psi' / mu_tr) dz,

        where q0 = mu_s* W / mu, q1 = g* mu_s* W for a beam of power W = exp(-mu_t* z / mu)
        (derived). The integrals are sums of exponentials.
        """
        d, k, b = self.thickness_mm, self.decay_per_mm, self.reach
        m = self.extinction_per_mm / cos_inside
        through = np.exp(-k * d)
        with_growth = np.exp(-np.minimum(k, m) * d) * d * exprel(-np.abs(m - k) * d)
        with_decay = d * exprel(-(m + k) * d)
        norm = 4.0 * b - (1.0 - b) ** 2 * np.expm1(-2.0 * k * d)
        plus = 1.0 / cos_inside + self.forward * k
        minus = 1.0 / cos_inside - self.forward * k
        share = self.scattering_per_mm / norm
        ahead = share * ((1 + b) * plus * with_growth - (1 - b) * minus * through * with_decay)
        back = share * ((1 + b) * minus * with_decay - (1 - b) * plus * through * with_growth)
        return ahead, back
