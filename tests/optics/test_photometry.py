"""Photometry: beams, surfaces, and the panel over a grid of LEDs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.optics import photometry
from glowsim.optics.exact import gauss_legendre
from tests.support import photometry as closed

calm = settings(deadline=None, max_examples=40)
half_angles = st.floats(5.0, 80.0)


def test_lambertian_led() -> None:
    """pi I0 at a half angle of 60 deg (derived); the intensities are of a common 5050 RGB LED."""
    flux = closed.beam_flux_lm([0.405, 0.690, 0.190], half_angle_deg=60.0)
    assert_allclose(flux, [1.27235, 2.16770, 0.59690], atol=6e-6)
    assert_allclose(flux.sum(), 4.03695, atol=6e-6)


def test_order_of_narrower_and_wider_beams() -> None:
    """Full angles of 110, 120 and 140 deg (derived)."""
    assert_allclose(
        photometry.lambertian_order([55.0, 60.0, 70.0]), [1.2470, 1.0, 0.6461], atol=5e-5
    )
    flux = closed.beam_flux_lm(1.0, half_angle_deg=[55.0, 70.0])
    assert_allclose(flux, [2.7963, 3.8171], atol=5e-5)


@calm
@given(half_angle=half_angles)
def test_beam_integrates_to_one_lumen_and_halves_at_its_angle(half_angle: float) -> None:
    # cos = t^4 keeps the integrand smooth for the broad beams of order below 1.
    t, weight = gauss_legendre(0.0, 1.0, 400)
    ahead = closed.intensity_per_sr(t**4, half_angle_deg=half_angle)
    assert_allclose(weight @ (2.0 * np.pi * ahead * 4.0 * t**3), 1.0, rtol=1e-8)
    on_axis, at_half = closed.intensity_per_sr(
        [1.0, np.cos(np.radians(half_angle))], half_angle_deg=half_angle
    )
    assert_allclose(at_half, 0.5 * on_axis, rtol=1e-12)
    assert closed.intensity_per_sr(-0.5, half_angle_deg=half_angle) == 0.0


@calm
@given(half_angle=half_angles, flux=st.floats(0.01, 100.0))
def test_peak_and_flux_are_inverse(half_angle: float, flux: float) -> None:
    peak = closed.beam_peak_cd(flux, half_angle_deg=half_angle)
    assert_allclose(closed.beam_flux_lm(peak, half_angle_deg=half_angle), flux, rtol=1e-12)
    on_axis = flux * closed.intensity_per_sr(1.0, half_angle_deg=half_angle)
    assert_allclose(peak, on_axis, rtol=1e-12)


def test_inverse_square() -> None:
    """1 cd gives 1 lx at 1 m, a quarter of it at 2 m and 60 deg twice less."""
    at = closed.illuminance_of_source_lx(
        1.0, distance_mm=[1000.0, 2000.0, 1000.0], cos_incidence=[1.0, 1.0, 0.5]
    )
    assert_allclose(at, [1.0, 0.25, 0.5], rtol=1e-12)


def test_glowing_skin() -> None:
    """4.037 lm, 30 % let out by a sphere of 20 mm radius: 76.69 cd/m^2; lit by 300 lx, 47.75."""
    exitance = 0.30 * 4.037 / (4.0 * np.pi * 20.0**2)
    glow = photometry.luminance_of_emitter_cd_m2(exitance)
    ambient = photometry.luminance_of_surface_cd_m2(300.0, reflectance=0.5)
    # Derived from L = M/pi and L = rho E/pi; two decimals.
    assert_allclose([glow, ambient], [76.69, 47.75], atol=6e-3)
    assert_allclose((glow + ambient) / ambient, 2.606, atol=6e-4)


def test_white_paper_in_a_hall() -> None:
    """0.9 * 300 lx / pi (derived)."""
    assert_allclose(photometry.luminance_of_white_paper_cd_m2(300.0), 85.944, atol=6e-4)


def test_disc_on_axis() -> None:
    """a = h: pi L / 2 = 1.570796 L (textbook); near it pi L; far off I/h^2 with I = L pi a^2."""
    at = closed.illuminance_of_disc_lx(1.0, radius_mm=5.0, distance_mm=[5.0, 0.0, 5e4])
    assert_allclose(at[:2], [1.570796, np.pi], rtol=1e-6)
    intensity = np.pi * 0.005**2
    far = closed.illuminance_of_source_lx(intensity, distance_mm=5e4)
    assert_allclose(at[2], far, rtol=2e-8)


# pitch/depth, least/mean, most/mean, least/most: Poisson sum (derived), agreeing to 1e-4 with the
# direct sum over 401 x 401 LEDs; the last two rows are such direct sums.
@pytest.mark.parametrize(
    ("pitch", "least", "most", "evenness"),
    [
        (0.5, 0.99994, 1.00006, 0.99987),
        (0.75, 0.99665, 1.00361, 0.99306),
        (1.0, 0.97738, 1.02705, 0.95164),
        (1.25, 0.93280, 1.09163, 0.85450),
        (1.5, 0.86683, 1.20974, 0.71654),
        (2.0, 0.71000, 1.61566, 0.43945),
        (2.5, 0.5645, 2.2343, 0.2526),
        (3.0, 0.4479, 3.0462, 0.1470),
    ],
)
def test_led_grid_of_table(pitch: float, least: float, most: float, evenness: float) -> None:
    at = np.array([0.5 * pitch, 0.0])
    low, high = closed.led_grid_relative_illuminance(at, at, pitch_mm=pitch, depth_mm=1.0)
    assert_allclose([low, high, low / high], [least, most, evenness], rtol=2e-4)


def test_led_grid_against_the_sum_over_leds() -> None:
    """Off the symmetric points too: I0 h^2/r^4 of 401 x 401 LEDs, short of far ones by 1e-4."""
    pitch, depth = 17.0, 12.0
    x, y = np.array([2.0, 5.5, 8.0]), np.array([1.0, 7.0, 0.0])
    sites = pitch * np.arange(-200, 201)
    r2 = (x[:, None, None] - sites[:, None]) ** 2 + (y[:, None, None] - sites) ** 2 + depth**2
    direct = np.sum(depth**2 / r2**2, axis=(1, 2)) * pitch**2 / np.pi
    got = closed.led_grid_relative_illuminance(x, y, pitch_mm=pitch, depth_mm=depth)
    assert_allclose(got, direct, rtol=2e-4)


@calm
@given(pitch=st.floats(1.0, 40.0), depth=st.floats(5.0, 20.0))
def test_led_grid_keeps_its_mean(pitch: float, depth: float) -> None:
    # An even grid of 64 samples integrates all waves of lower order exactly.
    at = pitch * (np.arange(64) + 0.3) / 64
    got = closed.led_grid_relative_illuminance(
        at[:, None], at[None, :], pitch_mm=pitch, depth_mm=depth
    )
    assert got.shape == (64, 64)
    assert_allclose(got.mean(), 1.0, rtol=1e-9)
    assert got.min() > 0.0
