"""Bundles of direct light hold the light they were given."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.pictures.lobe import MOST_KAPPA, concentration, luminance_per_exitance


def half_space(steps: int = 500) -> tuple[np.ndarray, np.ndarray]:
    """Return directions of a half space about +z and their solid angles [sr]."""
    height = (np.arange(steps) + 0.5) / steps
    turn = 2 * np.pi * (np.arange(steps) + 0.5) / steps
    z, phi = (grid.ravel() for grid in np.meshgrid(height, turn, indexing="ij"))
    radius = np.sqrt(1 - z**2)
    ways = np.stack([radius * np.cos(phi), radius * np.sin(phi), z], axis=1)
    return ways, np.full(len(ways), 2 * np.pi / steps**2)


@pytest.mark.parametrize("kappa", [0.1, 1.0, 10.0, 60.0, MOST_KAPPA])
@pytest.mark.parametrize("cos_axis_normal", [1.0, 0.7, 0.2, 0.0])
def test_a_bundle_carries_its_exitance(kappa: float, cos_axis_normal: float) -> None:
    ways, solid_angle = half_space()
    axis = np.array([np.sqrt(1 - cos_axis_normal**2), 0.0, cos_axis_normal])
    every = np.ones(len(ways))
    luminance = luminance_per_exitance(kappa * every, cos_axis_normal * every, ways @ axis)
    exitance = (luminance * ways[:, 2] * solid_angle).sum()
    # The table interpolates; grazing narrow bundles are its worst case.
    assert_allclose(exitance, 1.0, rtol=0.01)


def test_a_wide_bundle_is_matt() -> None:
    ways, _ = half_space(20)
    every = np.ones(len(ways))
    # At kappa = 0.1 the luminance differs from 1/pi by 10 % at most.
    assert_allclose(luminance_per_exitance(0.1 * every, every, ways[:, 2]), 1 / np.pi, rtol=0.1)


def test_no_view_is_infinitely_bright() -> None:
    glancing = luminance_per_exitance(np.array([MOST_KAPPA]), np.array([0.0]), np.array([1.0]))
    assert np.isfinite(glancing).all()


@pytest.mark.parametrize("kappa", [0.5, 5.0, 50.0])
def test_the_mean_direction_gives_the_width_back(kappa: float) -> None:
    # The mean vector's length is coth(kappa) - 1/kappa (Langevin); the estimate is within 6 %.
    length = 1 / np.tanh(kappa) - 1 / kappa
    assert_allclose(concentration(np.array([length])), kappa, rtol=0.06)


def test_a_single_ray_is_no_infinitely_narrow_bundle() -> None:
    assert concentration(np.array([1.0]))[0] == MOST_KAPPA
