"""The standard observer, LEDs, black bodies, lightness."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import MaterialError
from glowsim.optics import colour
from tests.support.photometry import MAX_LUMINOUS_EFFICACY_LM_W

calm = settings(deadline=None, max_examples=40)

# The three channels of a common 5050 RGB LED: peak and width of a Gaussian, in nm.
CHANNELS = [(623.5, 18.0), (522.5, 33.0), (465.0, 22.0)]


def channels_xyz() -> np.ndarray:
    return np.array([colour.led_xyz_per_lumen(peak_nm=p, fwhm_nm=w) for p, w in CHANNELS])


@pytest.mark.parametrize(
    ("nm", "expected"),
    [
        (465, (0.2511, 0.0739, 1.5281)),
        (520, (0.06327, 0.7100, 0.07825)),
        (525, (0.1096, 0.7932, 0.05725)),
        (555, (0.51205, 1.0000, 0.00575)),
        (620, (0.85445, 0.3810, 0.00019)),
        (625, (0.7514, 0.3210, 0.0001)),
    ],
)
def test_observer_at_some_wavelengths(nm: int, expected: tuple[float, ...]) -> None:
    """CIE 1931 2-degree observer, the 5 nm table as printed in CIE 15 to five decimals."""
    wavelength, functions = colour.standard_observer()
    assert_allclose(functions[wavelength == nm][0], expected, atol=6e-6)


def test_observer_sums() -> None:
    """Sums of the 5 nm table as CVRL states them; each function sums to the same for E."""
    wavelength, functions = colour.standard_observer()
    assert_allclose(wavelength, np.arange(360.0, 831.0, 5.0))
    assert_allclose(functions.sum(axis=0), [21.37313999, 21.37140785, 21.37866431], atol=1e-8)
    white = colour.chromaticity(colour.tristimulus(np.ones(95)))
    assert_allclose(white, colour.EQUAL_ENERGY_XY, atol=1e-4)


def test_observer_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        colour.standard_observer()[1][0, 0] = 1.0


def test_an_leds_light_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        colour.led_channel_xyz_per_lumen(dominant_nm=620.0, fwhm_nm=20.0)[0] = 1.0


def test_the_deepest_red_that_a_spectrum_reaches() -> None:
    """With a peak 60 nm beyond a spectrum 30 nm wide falls short of 648 nm by 0.2 (computed)."""
    peak = colour.led_peak_nm(dominant_nm=647.5, fwhm_nm=30.0)
    xy = colour.chromaticity(colour.led_xyz_per_lumen(peak_nm=peak, fwhm_nm=30.0))
    assert colour.dominant_wavelength_nm(xy) == pytest.approx(647.5, abs=1e-3)
    with pytest.raises(MaterialError, match="no LED spectrum"):
        colour.led_peak_nm(dominant_nm=648.0, fwhm_nm=30.0)


@pytest.mark.parametrize(
    ("nm", "lm_per_w"), [(465, 50.47), (520, 484.9), (525, 541.8), (620, 260.2), (625, 219.2)]
)
def test_luminous_efficacy(nm: int, lm_per_w: float) -> None:
    """683 V(lambda) (derived), four digits."""
    wavelength, functions = colour.standard_observer()
    efficacy = MAX_LUMINOUS_EFFICACY_LM_W * functions[wavelength == nm, 1]
    assert_allclose(efficacy, lm_per_w, rtol=2e-4)


def test_led_tristimulus() -> None:
    """Derived by summing the 1 nm table of the CIE 1931 observer; six digits."""
    expected = [
        [2.25720999, 1.0, 0.00042412],
        [0.17268595, 1.0, 0.13863684],
        [2.96611707, 1.0, 17.95801693],
    ]
    assert_allclose(channels_xyz(), expected, rtol=3e-5, atol=2e-7)


def test_led_chromaticity() -> None:
    """Derived with the 5 nm table drawn as straight lines, good to 0.0015."""
    expected = [[0.6925, 0.3073], [0.1323, 0.7613], [0.1353, 0.0458]]
    assert_allclose(colour.chromaticity(channels_xyz()), expected, atol=1.5e-3)


def test_full_drive_is_not_white() -> None:
    """1.272, 2.168 and 0.597 lm mix to x .2502, y .2018; D65 needs duties .789, 1, .315 (derived
    with straight lines between the 5 nm values, hence 0.001 and 1 %)."""
    flux = np.array([1.272, 2.168, 0.597])
    parts = flux[:, None] * channels_xyz()
    assert_allclose(colour.chromaticity(parts.sum(axis=0)), [0.2502, 0.2018], atol=1e-3)
    duty = np.linalg.solve(parts.T, colour.xyz_of_chromaticity(colour.D65_XY))
    duty /= duty.max()
    assert_allclose(duty, [0.789, 1.0, 0.315], rtol=0.01)
    assert_allclose(duty @ flux, 3.36, atol=0.006)


@pytest.mark.parametrize("nm", [420.0, 466.0, 500.0, 523.75, 555.0, 580.0, 620.75, 660.0])
@pytest.mark.parametrize("white", [colour.EQUAL_ENERGY_XY, colour.D65_XY])
def test_monochromatic_light_has_its_own_dominant_wavelength(
    nm: float, white: tuple[float, float]
) -> None:
    """Mixed with white it keeps it. The locus between the 5 nm values is drawn by a spline."""
    wavelength, functions = colour.standard_observer()
    pure = np.array([np.interp(nm, wavelength, functions[:, i]) for i in range(3)])
    if nm % 5 == 0:
        mixed = 0.4 * pure / pure.sum() + 0.6 * colour.xyz_of_chromaticity(white) * white[1]
        xy = colour.chromaticity(mixed)
        assert_allclose(colour.dominant_wavelength_nm(xy, white_xy=white), nm, atol=0.01)
    else:
        xy = colour.chromaticity(pure)
        assert_allclose(colour.dominant_wavelength_nm(xy, white_xy=white), nm, atol=0.5)


def test_dominant_wavelength_depends_on_white() -> None:
    """Derived; colour-science 0.4.7 gives 523 against E and 524 against D65, in whole nm."""
    xy = colour.chromaticity(channels_xyz())[1]
    assert_allclose(colour.dominant_wavelength_nm(xy), 523.15, atol=0.05)
    d65 = colour.dominant_wavelength_nm(xy, white_xy=colour.D65_XY)
    assert_allclose(d65, 523.69, atol=0.05)


@pytest.mark.parametrize("xy", [(0.35, 0.15), (0.5, 0.25)])
def test_purple_has_no_dominant_wavelength(xy: tuple[float, float]) -> None:
    with pytest.raises(MaterialError, match="is a purple and has no dominant wavelength"):
        colour.dominant_wavelength_nm(xy)


@calm
@given(dominant=st.floats(450.0, 640.0), fwhm=st.floats(12.0, 35.0))
def test_led_peak_gives_the_dominant_wavelength(dominant: float, fwhm: float) -> None:
    peak = colour.led_peak_nm(dominant_nm=dominant, fwhm_nm=fwhm)
    xyz = colour.led_xyz_per_lumen(peak_nm=peak, fwhm_nm=fwhm)
    got = colour.dominant_wavelength_nm(colour.chromaticity(xyz))
    assert_allclose(got, dominant, atol=1e-4)


def test_led_channel_from_its_data_sheet() -> None:
    """A red channel of 620.75 nm peaks near 623.5 nm (derived)."""
    peak = colour.led_peak_nm(dominant_nm=620.75, fwhm_nm=18.0)
    assert_allclose(peak, 623.5, atol=0.2)
    xyz = colour.led_channel_xyz_per_lumen(dominant_nm=620.75, fwhm_nm=18.0)
    assert_allclose(xyz, colour.led_xyz_per_lumen(peak_nm=peak, fwhm_nm=18.0), rtol=1e-12)
    assert xyz[1] == 1.0


@pytest.mark.parametrize("dominant", [380.0, 700.0])
def test_led_beyond_sight(dominant: float) -> None:
    with pytest.raises(MaterialError, match=f"has a dominant wavelength of {dominant:g} nm"):
        colour.led_channel_xyz_per_lumen(dominant_nm=dominant, fwhm_nm=20.0)


@pytest.mark.parametrize(
    ("kelvin", "x", "y"),
    [
        (1200, 0.6259, 0.3666),
        (1500, 0.5863, 0.3926),
        (1800, 0.5497, 0.4079),
        (2000, 0.5271, 0.4130),
        (2700, 0.4601, 0.4105),
        (6500, 0.3137, 0.3237),
    ],
)
def test_black_body_near_table(kelvin: float, x: float, y: float) -> None:
    """Planck with straight lines between the 5 nm values (derived), good to 0.001."""
    assert_allclose(colour.chromaticity(colour.black_body_xyz(kelvin)), [x, y], atol=1e-3)


def test_black_body_by_the_fine_table() -> None:
    """Planck's law over the 1 nm table of the CIE 1931 observer (derived)."""
    expected = [[0.652751, 0.344462], [0.549245, 0.408225], [0.459859, 0.410599]]
    expected += [[0.313526, 0.323628]]
    got = colour.chromaticity(colour.black_body_xyz([1000.0, 1800.0, 2700.0, 6500.0]))
    assert_allclose(got, expected, atol=2e-6)


@pytest.mark.parametrize("kelvin", [1800.0, 2000.0, 2700.0, 3500.0])
def test_black_body_against_cubic_fit(kelvin: float) -> None:
    """The fit of Kim et al. (US patent 7,024,034), which is good to 0.001."""
    t = 1000.0 / kelvin
    x = -0.2661239 * t**3 - 0.2343589 * t**2 + 0.8776956 * t + 0.179910
    below = [-1.1063814, -1.34811020, 2.18555832, -0.20219683]
    above = [-0.9549476, -1.37418593, 2.09137015, -0.16748867]
    y = np.polyval(below if kelvin <= 2222.0 else above, x)
    assert_allclose(colour.chromaticity(colour.black_body_xyz(kelvin)), [x, y], atol=1e-3)


def test_lightness() -> None:
    """CIE 15 with the exact constants 216/24389 and 24389/27 (colour-science has the same)."""
    got = colour.luminance_of_lightness([50.0, 25.0, 75.0, 100.0, 0.0])
    assert_allclose(got, [0.184187, 0.044155, 0.482781, 1.0, 0.0], atol=6e-7)


def test_lightness_drives_an_led() -> None:
    """8-bit 128 becomes duty 47 (derived)."""
    assert round(255 * float(colour.luminance_of_lightness(100.0 * 128 / 255))) == 47


@calm
@given(star=st.floats(0.0, 100.0))
def test_lightness_round_trip(star: float) -> None:
    assert_allclose(colour.lightness(colour.luminance_of_lightness(star)), star, atol=1e-9)


def test_lightness_joins_smoothly() -> None:
    at = 216.0 / 24389.0
    assert_allclose(colour.lightness([at, at * (1 + 1e-12)]), 8.0, rtol=1e-9)
