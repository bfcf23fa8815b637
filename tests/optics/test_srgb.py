"""sRGB and the mappings into its gamut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.optics import srgb
from glowsim.optics.colour import black_body_xyz, led_xyz_per_lumen

calm = settings(deadline=None, max_examples=40)
colours = st.tuples(*[st.floats(0.0, 1.0)] * 3).map(np.array)
wild_colours = st.tuples(*[st.floats(-2.0, 20.0)] * 3).map(np.array)


def test_matrices() -> None:
    """IEC 61966-2-1 prints four decimals."""
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    to_rgb = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    assert_allclose(srgb.XYZ_FROM_SRGB, to_xyz, atol=6e-5)
    # The standard inverted its own rounded matrix; that moves the fourth decimal.
    assert_allclose(srgb.SRGB_FROM_XYZ, to_rgb, atol=5e-4)


def test_known_colour() -> None:
    """(128, 200, 255): 47.60334, 53.11601, 102.3549, an example of the munsellinterpol package."""
    linear = srgb.decode(np.array([128.0, 200.0, 255.0]) / 255.0)
    got = 100.0 * srgb.xyz_from_linear(linear)
    assert_allclose(got, [47.60334, 53.11601, 102.3549], atol=6e-5)


def test_curve_at_known_points() -> None:
    """IEC 61966-2-1; 0.5 encodes to 0.735357, 0.5 decodes to 0.214041 (evaluated)."""
    assert_allclose(srgb.encode([0.0, 0.001, 0.5, 1.0]), [0.0, 0.01292, 0.735357, 1.0], atol=1e-6)
    assert_allclose(srgb.decode([0.0, 0.5, 1.0]), [0.0, 0.214041, 1.0], atol=1e-6)


@calm
@given(linear=colours)
def test_curve_round_trip(linear: np.ndarray) -> None:
    """The two pieces of the standard meet to 1e-7 only."""
    assert_allclose(srgb.decode(srgb.encode(linear)), linear, atol=1e-7)


@calm
@given(linear=wild_colours)
def test_matrix_round_trip(linear: np.ndarray) -> None:
    assert_allclose(srgb.linear_from_xyz(srgb.xyz_from_linear(linear)), linear, atol=1e-12)


@calm
@given(linear=wild_colours)
def test_mapping_keeps_luminance(linear: np.ndarray) -> None:
    mapped = srgb.clip_to_gamut(linear)
    luminance = max(float(linear @ srgb.LUMINANCE_OF_SRGB), 0.0)
    assert np.all(mapped >= 0.0)
    assert_allclose(mapped @ srgb.LUMINANCE_OF_SRGB, luminance, rtol=1e-9, atol=1e-12)


@calm
@given(linear=colours)
def test_mapping_leaves_the_gamut_alone(linear: np.ndarray) -> None:
    assert_allclose(srgb.clip_to_gamut(linear), linear, atol=1e-14)


# Peak and width in nm, linear sRGB at Y = 1, clipped; derived with straight lines between the
# 5 nm values of the observer, good to 0.6 % of the largest.
LEDS = [
    ((623.5, 18.0), (5.7652, -0.3076, -0.0780), (4.704, 0, 0)),
    ((522.5, 33.0), (-1.0436, 1.7132, -0.0467), (0, 1.398, 0)),
    ((465.0, 22.0), (-0.8803, -0.2419, 18.8388), (0, 0, 13.85)),
]


@pytest.mark.parametrize(("led", "linear", "clipped"), LEDS)
def test_led_channels(led: tuple, linear: tuple, clipped: tuple) -> None:
    got = srgb.linear_from_xyz(led_xyz_per_lumen(peak_nm=led[0], fwhm_nm=led[1]))
    assert_allclose(got, linear, atol=6e-3 * max(linear))
    assert_allclose(srgb.clip_to_gamut(got), clipped, atol=6e-4 * max(clipped))


def test_pure_green_stays_green() -> None:
    green = srgb.linear_from_xyz(led_xyz_per_lumen(peak_nm=522.5, fwhm_nm=33.0))
    pure = srgb.clip_to_gamut(green)
    assert pure.argmax() == 1
    assert_allclose(pure[[0, 2]], 0.0, atol=1e-12)


@pytest.mark.parametrize(
    ("kelvin", "rgb"),
    [
        (1200, (255, 67, 0)),
        (1500, (255, 102, 0)),
        (1800, (255, 125, 0)),
        (2000, (255, 138, 22)),
        (2700, (255, 172, 89)),
        (6500, (255, 248, 254)),
    ],
)
def test_embers(kelvin: float, rgb: tuple[int, int, int]) -> None:
    """Planck, clipped, brightest 255 (derived; 8-bit values agree to 1)."""
    linear = srgb.clip_to_gamut(srgb.linear_from_xyz(black_body_xyz(kelvin)))
    assert_allclose(255.0 * srgb.encode(linear / linear.max()), rgb, atol=1.5)


def test_black_stays_black() -> None:
    assert np.all(srgb.clip_to_gamut(np.zeros((2, 3))) == 0.0)


def test_images_keep_their_shape() -> None:
    image = np.random.default_rng(7).uniform(-0.2, 1.0, size=(4, 5, 3))
    assert srgb.clip_to_gamut(image).shape == (4, 5, 3)
