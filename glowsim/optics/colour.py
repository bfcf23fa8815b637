"""Colour of light: the standard observer, LED spectra, dominant wavelength, black bodies.

XYZ are CIE 1931 tristimulus values of the 2-degree observer, arrays `(..., 3)`; Y carries the
photometric unit (lumen, cd/m^2), so light is mixed by adding XYZ. Chromaticities are `(..., 2)`.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from glowsim.errors import MaterialError

Array = NDArray[np.float64]

D65_XY = (0.3127, 0.3290)
"""Chromaticity of D65 as IEC 61966-2-1 rounds it for sRGB."""
EQUAL_ENERGY_XY = (1.0 / 3.0, 1.0 / 3.0)
"""Illuminant E, against which the dominant wavelength of an LED is stated."""

SECOND_RADIATION_CONSTANT_MM_K = 14.38776877
"""c2 = h c / k (CODATA 2018), in millimetre kelvin."""

_NM_PER_MM = 1.0e6
_SIGMA_PER_FWHM = 1.0 / (2.0 * np.sqrt(2.0 * np.log(2.0)))
_LOCUS_NM = (400.0, 690.0)
"""The part of the spectral locus where hue goes on turning; its ends hardly move any more."""


@cache
def standard_observer() -> tuple[Array, Array]:
    """Return wavelengths (95,) in nm, 360 to 830, and the functions x, y, z (95, 3) there."""
    table = files("glowsim.optics").joinpath("cie1931_2deg_5nm.csv").read_text(encoding="utf-8")
    values = np.loadtxt(table.splitlines(), delimiter=",")
    values.flags.writeable = False
    return values[:, 0], values[:, 1:]


def tristimulus(power: ArrayLike) -> Array:
    """Return XYZ of spectra `(..., 95)` given at the observer's wavelengths, to any scale.

    A plain sum over 5 nm: for a smooth spectrum wider than 10 nm it agrees with a sum over 1 nm
    to 1e-5.
    """
    return np.asarray(power, dtype=float) @ standard_observer()[1]


def chromaticity(xyz: ArrayLike) -> Array:
    """Return (x, y) of tristimulus values `(..., 3)`."""
    values = np.asarray(xyz, dtype=float)
    return values[..., :2] / values.sum(axis=-1, keepdims=True)


def xyz_of_chromaticity(xy: ArrayLike) -> Array:
    """Return XYZ `(..., 3)` of a chromaticity `(..., 2)` with Y = 1."""
    x, y = np.moveaxis(np.asarray(xy, dtype=float), -1, 0)
    scale = 1.0 / y
    return np.stack([scale * x, scale * y, scale * (1.0 - x - y)], axis=-1)


def led_xyz_per_lumen(*, peak_nm: float, fwhm_nm: float) -> Array:
    """Return XYZ (3,), Y = 1, of an LED whose spectrum is a Gaussian.

    `fwhm_nm` is its full width at half height: about 18 (red), 33 (green), 22 nm (blue); typical
    figures from memory.
    """
    wavelength, _ = standard_observer()
    deviation = (wavelength - peak_nm) / (fwhm_nm * _SIGMA_PER_FWHM)
    xyz = tristimulus(np.exp(-0.5 * deviation**2))
    return xyz / xyz[1]


@cache
def led_channel_xyz_per_lumen(*, dominant_nm: float, fwhm_nm: float) -> Array:
    """Return XYZ (3,), Y = 1, of an LED channel from what its data sheet tells.

    A Gaussian spectrum of that width whose dominant wavelength is right. Raises MaterialError
    where there is none.
    """
    peak_nm = led_peak_nm(dominant_nm=dominant_nm, fwhm_nm=fwhm_nm)
    xyz = led_xyz_per_lumen(peak_nm=peak_nm, fwhm_nm=fwhm_nm)
    xyz.flags.writeable = False  # everyone gets the same one
    return xyz


def led_peak_nm(*, dominant_nm: float, fwhm_nm: float) -> float:
    """Return the peak of the Gaussian spectrum that has a dominant wavelength.

    A red LED peaks above its dominant wavelength, a blue one slightly below. Raises
    MaterialError where no peak within 60 nm does it.
    """

    def miss_nm(peak_nm: float) -> float:
        xy = chromaticity(led_xyz_per_lumen(peak_nm=peak_nm, fwhm_nm=fwhm_nm))
        return dominant_wavelength_nm(xy) - dominant_nm

    lowest = max(_LOCUS_NM[0] + fwhm_nm, dominant_nm - 60.0)
    highest = min(_LOCUS_NM[1] - fwhm_nm, dominant_nm + 60.0)
    if lowest >= highest or miss_nm(lowest) > 0.0 or miss_nm(highest) < 0.0:
        raise MaterialError(
            f"no LED spectrum {fwhm_nm:g} nm wide has a dominant wavelength of {dominant_nm:g} nm; "
            "visible LEDs lie between about 430 and 650 nm"
        )
    return float(brentq(miss_nm, lowest, highest, xtol=1e-6))


def dominant_wavelength_nm(
    xy: ArrayLike, *, white_xy: tuple[float, float] = EQUAL_ENERGY_XY
) -> float:
    """Return the wavelength whose hue, seen from white, a chromaticity (2,) has.

    The line from `white_xy` through `xy` meets the spectral locus there (CIE 15). Raises
    MaterialError for a purple, which has no such wavelength.
    """
    wavelength, turn = _locus_turn(white_xy)
    x, y = np.asarray(xy, dtype=float)
    angle = np.arctan2(y - white_xy[1], x - white_xy[0])
    # The locus turns clockwise; bring the angle into the round that ends at its violet end.
    angle = turn[0] - (turn[0] - angle) % (2.0 * np.pi)
    if angle < turn[-1]:
        raise MaterialError(
            f"the colour x {x:.4f}, y {y:.4f} is a purple and has no dominant wavelength"
        )
    return float(np.interp(-angle, -turn, wavelength))


@cache
def _locus_turn(white_xy: tuple[float, float]) -> tuple[Array, Array]:
    """Return wavelengths and the falling angle of the spectral locus about a white point."""
    wavelength = np.arange(_LOCUS_NM[0], _LOCUS_NM[1] + 0.05, 0.1)
    locus = chromaticity(CubicSpline(*standard_observer())(wavelength))
    return wavelength, np.unwrap(np.arctan2(locus[:, 1] - white_xy[1], locus[:, 0] - white_xy[0]))


def black_body_xyz(temperature_k: ArrayLike) -> Array:
    """Return XYZ `(..., 3)`, Y = 1, of black bodies, by Planck's law."""
    wavelength, _ = standard_observer()
    temperature = np.asarray(temperature_k, dtype=float)[..., None]
    ratio = SECOND_RADIATION_CONSTANT_MM_K * _NM_PER_MM / (wavelength * temperature)
    # Relative to 560 nm; the exponential is written so that no temperature overflows it.
    power = (560.0 / wavelength) ** 5 * np.exp(-ratio) / -np.expm1(-ratio)
    xyz = tristimulus(power)
    return xyz / xyz[..., 1:2]


def lightness(relative_luminance: ArrayLike) -> Array:
    """Return CIE L*, 0 to 100, of a luminance relative to white (CIE 15, exact constants)."""
    y = np.asarray(relative_luminance, dtype=float)
    return np.where(y <= 216.0 / 24389.0, y * 24389.0 / 27.0, 116.0 * np.cbrt(y) - 16.0)


def luminance_of_lightness(lightness_star: ArrayLike) -> Array:
    """Return the relative luminance of CIE L*, the inverse of `lightness`.

    Drive an LED with it and equal steps of L* look equal.
    """
    star = np.asarray(lightness_star, dtype=float)
    return np.where(star <= 8.0, star * 27.0 / 24389.0, ((star + 16.0) / 116.0) ** 3)
