"""Glare and contrast sensitivity."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.findings.patches import FINEST_DEG
from glowsim.optics.vision import glare_spread_per_sr
from tests.support.vision import contrast_sensitivity


@pytest.mark.parametrize(
    ("age", "expected"),
    [
        (25.0, [10513.31, 427.5203, 15.18053, 0.958491, 0.067658, 0.009027]),
        (70.0, [11288.05, 513.7738, 22.99752, 1.844245, 0.152794, 0.020207]),
    ],
)
def test_glare_of_table(age: float, expected: list[float]) -> None:
    """CIE general disability glare function (CIE 146:2002), evaluated; four digits or more."""
    got = glare_spread_per_sr([0.1, 0.3, 1, 3, 10, 30], age_years=age, pigmentation=0.5)
    assert_allclose(got, expected, rtol=6e-5)


def test_glare_at_one_degree() -> None:
    """CIE 146:2002, age 25, brown eyes, evaluated to eight digits."""
    assert_allclose(glare_spread_per_sr(1.0), 15.180530, rtol=1e-8)


def test_light_eyes_and_old_eyes_scatter_more() -> None:
    dark, light = glare_spread_per_sr([5.0, 5.0], pigmentation=[0.0, 1.0])
    young, old = glare_spread_per_sr([5.0, 5.0], age_years=[20.0, 80.0])
    assert light > dark
    assert old > young


def test_contrast_sensitivity() -> None:
    """Barten (2004), formula from memory: L 100 cd/m^2, 10 deg, 4 c/deg gives 633.7."""
    got = contrast_sensitivity(4.0, luminance_cd_m2=100.0, field_deg=10.0)
    assert_allclose(got, 633.7, atol=0.05)


@pytest.mark.parametrize(
    ("luminance", "field", "percent"),
    [
        (100.0, 10.0, [2.13, 1.07, 0.44, 0.24, 0.16, 0.23]),
        (10.0, 10.0, [2.13, 1.07, 0.45, 0.26, 0.25, 0.47]),
        (10.0, 2.0, [8.28, 4.15, 1.70, 0.91, 0.49, 0.63]),
        (1.0, 2.0, [8.32, 4.24, 1.90, 1.26, 1.12, 1.58]),
    ],
)
def test_threshold_modulation_of_table(
    luminance: float, field: float, percent: list[float]
) -> None:
    """Barten (2004), evaluated to two decimals of a per cent."""
    frequency = np.array([0.1, 0.2, 0.5, 1.0, 4.0, 8.0])
    sensitivity = contrast_sensitivity(frequency, luminance_cd_m2=luminance, field_deg=field)
    assert_allclose(100.0 / sensitivity, percent, atol=0.0051)


def test_what_findings_average_over_is_finer_than_what_is_seen_well() -> None:
    """Half a period of a grating that is seen a fifth as well as the best one."""
    frequency = np.geomspace(0.1, 40.0, 200)
    seen = contrast_sensitivity(frequency, luminance_cd_m2=10.0, field_deg=10.0)
    finest = contrast_sensitivity(0.5 / FINEST_DEG, luminance_cd_m2=10.0, field_deg=10.0)
    assert finest / seen.max() == pytest.approx(0.2, abs=0.05)
