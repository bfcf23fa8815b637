"""Closed solutions of the diffusion equation -D lap(phi) + mu_a phi = q, for checks.

phi is the fluence rate per unit of source power, in 1/mm^2. At a smooth face phi + z_e dphi/dn
= 0 with z_e = 2 A D; `n` is the refractive index of the body relative to its outside and
`model` chooses A, see `boundary.boundary_coefficient`. All arguments broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from glowsim.optics.boundary import BoundaryModel, boundary_coefficient
from glowsim.optics.diffusion import (
    diffusion_coefficient_mm,
    effective_attenuation_per_mm,
    extrapolation_length_mm,
)

Array = NDArray[np.float64]

_STRAIGHT = 1.0e-6
"""k times the size of a body, below which exponentials are drawn for straight lines."""


def point_fluence_per_mm2(
    distance_mm: ArrayLike, *, mu_a_per_mm: ArrayLike, mu_s_reduced_per_mm: ArrayLike
) -> Array:
    """Return phi about an isotropic point source in an endless medium, exp(-k r) / (4 pi D r).

    A quarter too low at half a transport mean free path, within 6 % from one to five of them at
    an albedo of 0.9 or more (measured against `exact.point_source_fluence`).
    """
    r = np.asarray(distance_mm, dtype=float)
    coefficients = {"mu_a_per_mm": mu_a_per_mm, "mu_s_reduced_per_mm": mu_s_reduced_per_mm}
    k = effective_attenuation_per_mm(**coefficients)
    return np.exp(-k * r) / (4.0 * np.pi * diffusion_coefficient_mm(**coefficients) * r)


def point_fluence_grosjean_per_mm2(
    distance_mm: ArrayLike, *, mu_a_per_mm: ArrayLike, mu_s_reduced_per_mm: ArrayLike
) -> Array:
    """Return phi about a point source as unscattered light plus diffusion.

    exp(-r)/(4 pi r^2) + c exp(-k r)/(4 pi D r) in transport mean free paths, with
    D = (2 - c)/3 and k = sqrt((1 - c)/D), c the albedo (Grosjean 1956, from memory; d'Eon,
    arXiv:1312.1412). Within 5 % of exact transport from half a mean free path, c >= 0.8.
    """
    transport = np.asarray(mu_a_per_mm, dtype=float) + np.asarray(mu_s_reduced_per_mm)
    r = np.asarray(distance_mm, dtype=float) * transport
    c = np.asarray(mu_s_reduced_per_mm, dtype=float) / transport
    d = (2.0 - c) / 3.0
    scattered = c * np.exp(-np.sqrt((1.0 - c) / d) * r) / d
    return transport**2 / (4.0 * np.pi * r) * (np.exp(-r) / r + scattered)


def sphere_fluence_per_mm2(
    distance_mm: ArrayLike,
    *,
    radius_mm: ArrayLike,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    n: ArrayLike,
    model: BoundaryModel = "transport",
) -> Array:
    """Return phi at a distance from an isotropic point source in the centre of a sphere.

    u = r phi obeys u'' = k^2 u, u(0) = 1/(4 pi D), phi + z_e phi' = 0 at the surface (derived).
    """
    r, radius = np.asarray(distance_mm, dtype=float), np.asarray(radius_mm, dtype=float)
    coefficients = {"mu_a_per_mm": mu_a_per_mm, "mu_s_reduced_per_mm": mu_s_reduced_per_mm}
    z = extrapolation_length_mm(**coefficients, n=n, model=model)
    k = np.maximum(effective_attenuation_per_mm(**coefficients), _STRAIGHT / (radius + z))

    def u(depth: Array) -> Array:
        sinh, cosh = _scaled(k * depth)
        return (1.0 - z / radius) * sinh + z * k * cosh

    decay = np.exp(-k * r) / (4.0 * np.pi * diffusion_coefficient_mm(**coefficients) * r)
    return decay * u(radius - r) / u(radius)


def sphere_escape_fraction(
    *,
    radius_mm: ArrayLike,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    n: ArrayLike,
    model: BoundaryModel = "transport",
) -> Array:
    """Return the share of the light of a source in the centre that leaves the sphere.

    kR / ((1 - z_e/R) sinh kR + z_e k cosh kR) (derived). Against Monte Carlo within 1 % for
    mu_a <= mu_s'/100 and radii of 10 transport mean free paths or more; 9 % low at
    mu_a = mu_s'/10, n = 1.5 and 3 of them.
    """
    return hollow_sphere_escape_fraction(
        inner_radius_mm=0.0,
        wall_mm=radius_mm,
        mu_a_per_mm=mu_a_per_mm,
        mu_s_reduced_per_mm=mu_s_reduced_per_mm,
        n=n,
        model=model,
    )


def hollow_sphere_escape_fraction(
    *,
    inner_radius_mm: ArrayLike,
    wall_mm: ArrayLike,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    n: ArrayLike,
    model: BoundaryModel = "transport",
) -> Array:
    """Return the share of the light of any source in the hollow that leaves a spherical shell.

    In a closed hollow all light must in the end go into the wall, whatever its index; so the
    wall carries the whole flux at its inner radius a, and with u = r phi = (1 - z/b) sinh k(b - r)
    + z k cosh k(b - r), which fulfils the condition at the outer radius b, the share is

        b k / (u(a) - a u'(a))     (derived; a = 0 gives the solid sphere).

    In a large, thin shell it becomes T / (T + absorptance), see `shell_escape_fraction`.
    """
    a, wall = np.asarray(inner_radius_mm, dtype=float), np.asarray(wall_mm, dtype=float)
    coefficients = {"mu_a_per_mm": mu_a_per_mm, "mu_s_reduced_per_mm": mu_s_reduced_per_mm}
    z = extrapolation_length_mm(**coefficients, n=n, model=model)
    b = a + wall
    k = np.maximum(effective_attenuation_per_mm(**coefficients), _STRAIGHT / (b + z))
    sinh, cosh = _scaled(k * wall)
    alpha, beta = 1.0 - z / b, z * k
    inside = alpha * sinh + beta * cosh + a * k * (alpha * cosh + beta * sinh)
    return b * k * np.exp(-k * wall) / inside


def shell_escape_fraction(*, reflectance: ArrayLike, transmittance: ArrayLike) -> Array:
    """Return the share of light that leaves a closed convex translucent shell: T / (1 - R).

    Exact when the wall has the same diffuse R and T everywhere and for the first hit too; the
    place of the source does not matter (geometric series, derived). T / (1 - R) is
    T / (T + absorptance): a shell that does not absorb lets out everything.
    """
    return np.asarray(transmittance, dtype=float) / (1.0 - np.asarray(reflectance, dtype=float))


def slab_point_source_escape(
    depth_mm: ArrayLike,
    *,
    thickness_mm: ArrayLike,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    n: ArrayLike,
    model: BoundaryModel = "transport",
) -> tuple[Array, Array]:
    """Return what a slab lets out by its near face (z = 0) and its far face from a source at depth.

    phi vanishes at -z_e and d + z_e: far = sinh k(z0 + z_e) cosh k z_e / sinh k(d + 2 z_e), near
    the same from the other side (derived; the integral of Contini et al. 1997). With
    z0 = 1/(mu_a + mu_s') it stands for a beam; good to 4 % only from mu_s' d > 3.
    """
    z0, d = np.asarray(depth_mm, dtype=float), np.asarray(thickness_mm, dtype=float)
    coefficients = {"mu_a_per_mm": mu_a_per_mm, "mu_s_reduced_per_mm": mu_s_reduced_per_mm}
    z = extrapolation_length_mm(**coefficients, n=n, model=model)
    whole = d + 2.0 * z
    k = np.maximum(effective_attenuation_per_mm(**coefficients), _STRAIGHT / whole)
    sinh_whole, _ = _scaled(k * whole)

    def out(inside: Array) -> Array:
        sinh, _ = _scaled(k * (inside + z))
        decay = np.exp(-k * (whole - inside - z))
        return decay * np.cosh(k * z) * sinh / sinh_whole

    return out(d - z0), out(z0)


def slab_point_transmittance_per_mm2(
    radius_mm: ArrayLike,
    *,
    depth_mm: float,
    thickness_mm: float,
    mu_a_per_mm: float,
    mu_s_reduced_per_mm: float,
    n: float,
    model: BoundaryModel = "transport",
) -> Array:
    """Return the flux per area out of the far face, at a radius from the axis of a point source.

    Sum over images of the source (Contini, Martelli & Zaccanti, Appl. Opt. 36, 4587, 1997, from
    memory); its integral over the face is `slab_point_source_escape`. 401 pairs of images;
    without absorption the rest is of the order of 1e-5.
    """
    rho = np.asarray(radius_mm, dtype=float)[..., None]
    coefficients = {"mu_a_per_mm": mu_a_per_mm, "mu_s_reduced_per_mm": mu_s_reduced_per_mm}
    z = extrapolation_length_mm(**coefficients, n=n, model=model)
    k = effective_attenuation_per_mm(**coefficients)
    m = np.arange(-200.0, 201.0)
    positive = (1.0 - 2.0 * m) * thickness_mm - 4.0 * m * z - depth_mm
    negative = (1.0 - 2.0 * m) * thickness_mm - (4.0 * m - 2.0) * z + depth_mm

    def flux(height: Array) -> Array:
        r = np.hypot(rho, height)
        return height * (k + 1.0 / r) * np.exp(-k * r) / r**2

    return np.sum(flux(positive) - flux(negative), axis=-1) / (4.0 * np.pi)


def slab_diffuse_reflectance_transmittance(
    *,
    thickness_mm: ArrayLike,
    mu_a_per_mm: ArrayLike,
    mu_s_reduced_per_mm: ArrayLike,
    n: ArrayLike,
    model: BoundaryModel = "transport",
) -> tuple[Array, Array]:
    """Return R and T of a slab in Lambertian light of irradiance E on one face.

    The lit face obeys phi + 2 A D dphi/dn = 4 n^2 E, since radiance grows by n^2 on entering;
    the exitance there is M = phi/(2A) + E (1 - 2 n^2/A), at the dark face phi/(2A). With
    b = k z_e and N = (1 + b^2) sinh kd + 2 b cosh kd (derived):

        T = 4 n^2 k D / N,      R = 1 - (2 n^2/A) b (b sinh kd + cosh kd) / N.

    Without absorption T = 4 n^2 / (d/D + 4 A). With the transport A it is within 0.8 % of
    adding-doubling for mu_s' d >= 2 and mu_a <= mu_s'/20. Not for thin or dark walls, where R may
    even fall below 0: see `slab.layer_reflectance_transmittance`.
    """
    coefficients = {"mu_a_per_mm": mu_a_per_mm, "mu_s_reduced_per_mm": mu_s_reduced_per_mm}
    d, index = np.asarray(thickness_mm, dtype=float), np.asarray(n, dtype=float)
    a = boundary_coefficient(index, model=model)
    z = extrapolation_length_mm(**coefficients, n=index, model=model)
    # An endless slab without absorption needs some decay too.
    slow = _STRAIGHT / (np.minimum(d, z / _STRAIGHT) + z)
    k = np.maximum(effective_attenuation_per_mm(**coefficients), slow)
    sinh, cosh = _scaled(k * d)
    b = k * z
    norm = (1.0 + b**2) * sinh + 2.0 * b * cosh
    entered = 2.0 * index**2 / a
    return 1.0 - entered * b * (b * sinh + cosh) / norm, entered * b * np.exp(-k * d) / norm


def _scaled(x: Array) -> tuple[Array, Array]:
    """Return sinh x and cosh x, both times exp(-x), for x >= 0 of any size."""
    return -0.5 * np.expm1(-2.0 * x), 0.5 * (1.0 + np.exp(-2.0 * x))
