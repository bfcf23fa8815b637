"""A print's infill as one even material: its limits in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.optics.exact import gauss_legendre
from glowsim.optics.fresnel import reflectance
from glowsim.optics.infill import infill_as_medium
from glowsim.optics.slab import layer_reflectance_transmittance


def test_walls_thin_to_light_are_the_mixture_by_volume():
    mu_a, mu_s = infill_as_medium(
        share=0.2, sheet_mm=1e-3, mu_a_per_mm=[0.01, 0.02, 0.03], mu_s_reduced_per_mm=0.3, n=1.0
    )
    np.testing.assert_allclose(mu_a, 0.2 * np.array([0.01, 0.02, 0.03]), rtol=3e-3)
    np.testing.assert_allclose(mu_s, 0.2 * 0.3, rtol=3e-3)


def test_clear_walls_are_mirrors_turned_every_way():
    """2 share / sheet * int mu^3 R dmu of plates, R = 2 r / (1 + r) of both faces (textbook), and
    what meets them again."""
    mu_a, mu_s = infill_as_medium(
        share=0.15, sheet_mm=0.45, mu_a_per_mm=0.0, mu_s_reduced_per_mm=0.0, n=1.46
    )
    mu, weight = gauss_legendre(0.0, 1.0, 400)
    face = reflectance(mu, n_from=1.0, n_to=1.46)
    back = 2 * face / (1 + face)
    once = 2 * 0.15 / 0.45 * float((mu**3 * back) @ weight)
    lambert = float((2 * mu * back) @ weight)
    exact = once + 0.15 / 0.45 * 13 / 18 * lambert**2 / (1 - lambert)
    assert float(mu_s) == pytest.approx(exact, rel=1e-4)
    assert float(mu_a) == pytest.approx(0.0, abs=1e-9)


def test_walls_that_let_little_through_are_closed_cells():
    """Cells in which light is mixed evenly pass T / 4 of the difference between neighbours, so that
    D = cell T / 4 (integrating cavities, derived); cubic cells have share = 3 sheet / cell."""
    cell, sheet = 9.0, 0.4
    share = 3 * sheet / cell
    mu_s = infill_as_medium(
        share=share, sheet_mm=sheet, mu_a_per_mm=0.0, mu_s_reduced_per_mm=30.0, n=1.0
    )[1]
    _, through = layer_reflectance_transmittance(
        mu_a_per_mm=0.0, mu_s_reduced_per_mm=30.0, n=1.0, thickness_mm=sheet
    )
    assert 0.5 < 1 / (3 * float(mu_s)) / (cell * float(through) / 4) < 1


def test_walls_that_scatter_and_mirror_hold_light_as_one_in_balance_does():
    """n^2 times the light outside fills them (radiance over n^2 is kept), and absorbs by volume."""
    mu_a = infill_as_medium(
        share=0.1, sheet_mm=1e-3, mu_a_per_mm=1e-4, mu_s_reduced_per_mm=1.0, n=1.5
    )[0]
    assert float(mu_a) == pytest.approx(0.1 * 1e-4 * 1.5**2, rel=5e-3)
