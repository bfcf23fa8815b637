"""Exact transport solutions, against published tables."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.optics.boundary import MILNE_LENGTH_MFP
from glowsim.optics.exact import (
    chandrasekhar_h,
    decay_constant,
    gauss_legendre,
)
from tests.support.half_space import point_source_fluence, semi_infinite_reflectance

# Chandrasekhar, Radiative Transfer (1960), chapter V, from memory for H(1) = 2.9078 at c = 1;
# the digits derived by iterating his equation on 200 nodes to 1e-13.
# albedo, H(.5), H(1), int H, int mu H, R(1), R(.5), R of Lambertian light
HALF_SPACES = [
    (0.5, 1.187735, 1.251260, 1.171573, 0.603484, 0.115226, 0.160144, 0.146544),
    (0.8, 1.413263, 1.598220, 1.381966, 0.735815, 0.285255, 0.367970, 0.341867),
    (0.9, 1.556034, 1.850099, 1.519494, 0.825316, 0.414947, 0.507939, 0.478024),
    (0.95, 1.671788, 2.077124, 1.634512, 0.901876, 0.535541, 0.626177, 0.596669),
    (0.99, 1.848601, 2.472793, 1.818182, 1.027182, 0.752721, 0.815140, 0.794564),
    (0.999, 1.958687, 2.756073, 1.938693, 1.111331, 0.912845, 0.938061, 0.929713),
    (1.0, 2.012779, 2.907811, 2.0, 1.154701, 1.0, 1.0, 1.0),
]


@pytest.mark.parametrize("row", HALF_SPACES)
def test_half_space_of_table(row: tuple[float, ...]) -> None:
    albedo, h_half, h_one, a0, a1, r_one, r_half, r_diffuse = row
    mu, weight = gauss_legendre(0.0, 1.0, 64)
    h = chandrasekhar_h(mu, albedo=albedo)
    got = [*chandrasekhar_h([0.5, 1.0], albedo=albedo), weight @ h, weight @ (mu * h)]
    # The table has six decimals.
    assert_allclose(got, [h_half, h_one, a0, a1], atol=1.1e-6)
    assert_allclose(
        semi_infinite_reflectance([1.0, 0.5], albedo=albedo), [r_one, r_half], atol=1e-6
    )
    diffuse = weight @ (2.0 * mu * semi_infinite_reflectance(mu, albedo=albedo))
    assert_allclose(diffuse, r_diffuse, atol=1e-6)


def test_h_function_obeys_its_equation() -> None:
    """H = 1 + (c/2) mu H int H' / (mu + mu') dmu' (Chandrasekhar 1960, from memory)."""
    albedo = 0.97
    mu, weight = gauss_legendre(0.0, 1.0, 200)
    h = chandrasekhar_h(mu, albedo=albedo)
    integral = (h / (mu[:, None] + mu[None, :])) @ weight
    # The logarithmic slope of H at mu = 0 limits Gauss quadrature to about 1e-5.
    assert_allclose(h, 1.0 + 0.5 * albedo * mu * h * integral, rtol=2e-5)


@pytest.mark.parametrize(
    ("albedo", "k0"),
    [
        (0.5, 0.95750402),
        (0.8, 0.71041178),
        (0.9, 0.52542951),
        (0.99, 0.17251107),
        (0.999, 0.05475034),
    ],
)
def test_decay_constant_of_table(albedo: float, k0: float) -> None:
    """Roots of c artanh(k0) = k0 (derived; 8 digits printed)."""
    assert_allclose(decay_constant(albedo), k0, atol=1e-8)


def test_no_decay_without_absorption() -> None:
    assert decay_constant(1.0) == 0.0


@pytest.mark.parametrize(
    ("albedo", "distance_mfp", "fluence"),
    [
        (0.8, 1, 1.074126e-1),
        (0.8, 5, 9.521796e-4),
        (0.8, 10, 1.343605e-5),
        (0.9, 1, 1.432839e-1),
        (0.9, 5, 2.915125e-3),
        (0.99, 0.5, 5.953856e-1),
        (0.99, 2, 8.497689e-2),
        (0.99, 10, 4.185092e-3),
        (0.999, 1, 2.479573e-1),
        (0.999, 10, 1.378601e-2),
    ],
)
def test_point_source_of_table(albedo: float, distance_mfp: float, fluence: float) -> None:
    """Form of Case, de Hoffmann & Placzek (1953), derived; seven digits printed."""
    assert_allclose(point_source_fluence(distance_mfp, albedo=albedo), fluence, rtol=5e-7)


def test_point_source_light_is_all_absorbed() -> None:
    """Energy: (1 - c) int 4 pi r^2 phi dr = 1; beyond 60 mean free paths nothing is left."""
    albedo = 0.8
    r, weight = gauss_legendre(0.0, 60.0, 300)
    absorbed = (1.0 - albedo) * weight @ (4 * np.pi * r**2 * point_source_fluence(r, albedo=albedo))
    assert_allclose(absorbed, 1.0, rtol=1e-8)


def test_milne_extrapolation_length() -> None:
    """q = 6/pi^2 + (1/pi) int_0^{pi/2} (3/x^2 - 1/(1 - x cot x)) dx (from memory)."""
    x, weight = gauss_legendre(0.0, np.pi / 2, 10)
    value = weight @ (3.0 / x**2 - 1.0 / (1.0 - x / np.tan(x)))
    # The integrand is smooth; more nodes come nearer to x = 0, where its two terms cancel.
    assert_allclose(6.0 / np.pi**2 + value / np.pi, MILNE_LENGTH_MFP, rtol=1e-9)
