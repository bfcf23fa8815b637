"""From tristimulus values to a screen: sRGB (IEC 61966-2-1) and the way into its gamut.

Light is mixed in XYZ and comes here once, at the end. LED primaries lie outside sRGB, so
their linear values have negative parts, which one of the two mappings must remove.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from glowsim.optics.colour import D65_XY, luminance_of_lightness, xyz_of_chromaticity

Array = NDArray[np.float64]

PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
"""Chromaticities of the red, green and blue of sRGB (ITU-R BT.709)."""


def _xyz_from_srgb() -> Array:
    """Return the matrix (3, 3) whose columns are XYZ of the primaries, all together making D65."""
    primaries = xyz_of_chromaticity(PRIMARIES_XY).T
    return primaries * np.linalg.solve(primaries, xyz_of_chromaticity(D65_XY))


XYZ_FROM_SRGB = _xyz_from_srgb()
SRGB_FROM_XYZ = np.linalg.inv(XYZ_FROM_SRGB)
LUMINANCE_OF_SRGB = XYZ_FROM_SRGB[1]
"""Y of linear red, green and blue; they add up to 1."""


def linear_from_xyz(xyz: ArrayLike) -> Array:
    """Return linear sRGB `(..., 3)` of XYZ with white at Y = 1; may lie outside 0 to 1."""
    colour = _floats(xyz)
    return colour @ SRGB_FROM_XYZ.T.astype(colour.dtype)


def xyz_from_linear(linear: ArrayLike) -> Array:
    """Return XYZ `(..., 3)` of linear sRGB."""
    return np.asarray(linear, dtype=float) @ XYZ_FROM_SRGB.T


def encode(linear: ArrayLike) -> Array:
    """Return the sRGB values, 0 to 1, of linear ones, 0 to 1 (IEC 61966-2-1)."""
    u = _floats(linear)
    curve = 1.055 * np.maximum(u, 0.0031308) ** (1.0 / 2.4) - 0.055
    return np.where(u <= 0.0031308, 12.92 * u, curve)


def decode(encoded: ArrayLike) -> Array:
    """Return the linear values, 0 to 1, of sRGB ones, 0 to 1 (IEC 61966-2-1)."""
    v = np.asarray(encoded, dtype=float)
    curve = ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(v <= 0.04045, v / 12.92, curve)


def clip_to_gamut(linear: ArrayLike) -> Array:
    """Return linear sRGB without negative parts: they are cut, the rest scaled to keep Y.

    The right way for LEDs: a pure channel stays pure, its hue moves a little. Values above 1 are
    left to the exposure.
    """
    rgb = _floats(linear)
    cut, weight = np.maximum(rgb, 0.0), LUMINANCE_OF_SRGB.astype(rgb.dtype)
    before, after = rgb @ weight, cut @ weight
    return cut * (np.maximum(before, 0.0) / np.where(after > 0.0, after, 1.0))[..., None]


def srgb_of_lch(lightness: ArrayLike, chroma: ArrayLike, hue_deg: ArrayLike) -> Array:
    """Return sRGB values `(..., 3)`, 0 to 1, of CIELAB colours given as L*, C*, h for D65 (CIE 15).

    What lies outside the gamut is cut to it.
    """
    star, c, h = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (lightness, chroma, np.radians(hue_deg)))
    )
    steps = np.stack([c * np.cos(h) / 500.0, np.zeros_like(c), -c * np.sin(h) / 200.0], axis=-1)
    # f of CIE 15 is (L* + 16) / 116 of a colour's own lightness, on each of X, Y, Z.
    relative = luminance_of_lightness(star[..., None] + 116.0 * steps)
    white = xyz_of_chromaticity(D65_XY)
    return encode(np.clip(linear_from_xyz(relative * white), 0.0, 1.0))


def contrast_ratio(one: ArrayLike, two: ArrayLike) -> Array:
    """Return the contrast, 1 to 21, of 8-bit sRGB colours `(..., 3)` (WCAG 2.1, contrast ratio)."""
    luminance = [decode(np.asarray(c, dtype=float) / 255.0) @ LUMINANCE_OF_SRGB for c in (one, two)]
    return (np.maximum(*luminance) + 0.05) / (np.minimum(*luminance) + 0.05)


def _floats(values: ArrayLike) -> Array:
    """Return values as floats; those of pictures are single, and stay so: it is twice as quick."""
    given = np.asarray(values)
    return given if given.dtype == np.float32 else given.astype(float, copy=False)
