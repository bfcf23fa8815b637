"""Scattering directions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.optics.exact import gauss_legendre
from glowsim.optics.phase import delta_eddington
from tests.support.phase import (
    henyey_greenstein_cos,
    henyey_greenstein_per_sr,
    reduced_scattering_per_mm,
)

mean_cosines = st.floats(-0.95, 0.95)
calm = settings(deadline=None, max_examples=40)


@calm
@given(g=mean_cosines)
def test_phase_function_is_normalised_with_mean_cosine_g(g: float) -> None:
    cos, weight = gauss_legendre(-1.0, 1.0, 400)
    p = 2.0 * np.pi * henyey_greenstein_per_sr(cos, g=g)
    # 400 nodes resolve the peak of |g| = 0.95.
    assert_allclose([weight @ p, weight @ (p * cos)], [1.0, g], atol=1e-9)


@calm
@given(g=mean_cosines, cos=st.floats(-1.0, 1.0))
def test_sampling_inverts_the_cumulative_distribution(g: float, cos: float) -> None:
    """int_-1^cos 2 pi p is done by quadrature; its inverse must lead back to the cosine."""
    nodes, weight = gauss_legendre(-1.0, cos, 400)
    below = weight @ (2.0 * np.pi * henyey_greenstein_per_sr(nodes, g=g))
    # Where p is small the cosine moves by (error of the integral) / (2 pi p), up to 1e3 times it.
    assert_allclose(henyey_greenstein_cos(min(below, 1.0), g=g), cos, atol=1e-8)


def test_sampling_ends_and_isotropic() -> None:
    u = np.array([0.0, 0.25, 1.0])
    assert_allclose(henyey_greenstein_cos(u, g=0.0), [-1.0, -0.5, 1.0], rtol=1e-15)
    assert_allclose(henyey_greenstein_cos([0.0, 1.0], g=0.9), [-1.0, 1.0], rtol=1e-12)


def test_sampled_mean_is_g() -> None:
    u = (np.arange(100_000) + 0.5) / 100_000
    # Midpoint rule on a smooth function of u.
    assert_allclose(henyey_greenstein_cos(u, g=0.8).mean(), 0.8, rtol=1e-7)


@pytest.mark.parametrize("g", [0.0, 0.5, 0.9])
def test_delta_eddington_keeps_two_moments(g: float) -> None:
    """What the first two Legendre moments of Henyey-Greenstein, g and g^2, take off mu_s is kept.

    The split-off light has no second moment, so mu_s* itself is mu_s (1 - g^2).
    """
    mu_s_star, g_star = delta_eddington(mu_s_per_mm=10.0, g=g)
    assert_allclose(mu_s_star * (1.0 - g_star), reduced_scattering_per_mm(mu_s_per_mm=10.0, g=g))
    assert_allclose(mu_s_star, 10.0 * (1.0 - g**2), rtol=1e-14)
