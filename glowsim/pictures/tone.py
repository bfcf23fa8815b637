"""From luminance to a screen: exposure, shoulder, sRGB.

What a display shows is measured against `exposure`, the luminance of a neutral grey that is shown
as full white. A colour that no display reaches is shown pure rather than pale, up to full
exposure; above it spills over into white, as it does in an eye and on a sensor.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.photometry import luminance_of_white_paper_cd_m2
from glowsim.optics.srgb import clip_to_gamut, encode, linear_from_xyz
from glowsim.pictures.arrays import Floats
from glowsim.pictures.shade import Emission
from glowsim.pictures.stage import Stage
from glowsim.scene import Room

SHOULDER = 3.0
"""How far highlights are held back: dark parts come out 1 + SHOULDER times as bright as in
proportion to full white. 0 would be a straight line."""
SPILL = 2.0
"""At this multiple of full exposure a colour has half turned to white."""
BRIGHT_SHARE = 0.97
"""Share of the glowing surface that lies below full white."""

_PIXELS_AT_ONCE = 1 << 15
"""What belongs to so many pixels stays in the processor's own memory."""
LEAST_CD_M2 = 1e-3
"""Least exposure: a thousandth of a candela per square metre is moonlight on dark ground."""


def level(xyz: FloatArray) -> FloatArray:
    """Return how bright colours (..., 3) are for the exposure: the strongest sRGB channel.

    In the unit of Y, and Y itself for a neutral grey. A blue LED fills the blue of a screen long
    before its luminance is that of white.
    """
    return clip_to_gamut(linear_from_xyz(xyz)).max(axis=-1)


def chosen_exposure_cd_m2(stage: Stage, emission: Emission, room: Room) -> float:
    """Return the exposure that suits a prop from all sides [cd/m2].

    All but the brightest 3 % of the surface meant to glow stays below full exposure, and so does
    white paper in the room's light.
    """
    paper = max(float(luminance_of_white_paper_cd_m2(room.illuminance_lx)), LEAST_CD_M2)
    lit = emission.glows & (emission.total_lm_m2[:, 1] > 0)
    if not lit.any():
        return paper
    bright = level(emission.square_on_cd_m2[lit])
    order = np.argsort(bright)
    area = np.cumsum(stage.areas_mm2[lit][order])
    place = min(int(np.searchsorted(area, BRIGHT_SHARE * area[-1])), len(order) - 1)
    return max(float(bright[order[place]]), paper)


def checked_exposure(exposure_cd_m2: float) -> float:
    """Return the exposure; raise PictureError if it is not a luminance above zero."""
    if not (np.isfinite(exposure_cd_m2) and exposure_cd_m2 > 0):
        raise PictureError(
            f"an exposure of {exposure_cd_m2:g} cd/m2 cannot be used; give the luminance above 0 "
            "that is to be shown as white"
        )
    return float(exposure_cd_m2)


def shoulder(share_of_white: FloatArray) -> FloatArray:
    """Return what is shown, 0 to 1, of luminance over exposure: x (1 + s) / (1 + s x), up to 1."""
    x = np.maximum(share_of_white, 0.0)
    return np.minimum(x * (1 + SHOULDER) / (1 + SHOULDER * x), 1.0)


def displayed(xyz: FloatArray, exposure_cd_m2: float) -> FloatArray:
    """Return linear sRGB, 0 to 1, of light in XYZ [cd/m2], both (..., 3) float."""
    rgb = clip_to_gamut(linear_from_xyz(xyz / exposure_cd_m2))
    bright = np.maximum(np.maximum(rgb[..., :1], rgb[..., 1:2]), rgb[..., 2:])
    hue = rgb / np.maximum(bright, 1e-12)
    spill = bright**2 / (bright**2 + SPILL**2)
    return shoulder(bright) * (hue + spill * (1 - hue))


def developed(xyz: FloatArray, exposure_cd_m2: float) -> NDArray[np.uint8]:
    """Return 8-bit sRGB, (h, w, 3) uint8, of a picture in XYZ [cd/m2].

    The grain of one step that hides the steps of 8 bits is the same in every picture.
    """
    height, width = xyz.shape[:2]
    picture = np.zeros((height, width, 3), np.uint8)
    step = max(1, _PIXELS_AT_ONCE // width)
    for first in range(0, height, step):
        rows = slice(first, first + step)
        shown = displayed(xyz[rows], exposure_cd_m2)
        grain = _grain(len(shown), width, first)[..., None]
        picture[rows] = np.clip(255 * encode(shown) + grain, 0, 255)
    return picture


def _grain(height: int, width: int, first: int) -> Floats:
    """Return rows, from the `first` on, of a fixed pattern between 0 and 1 without visible
    structure, (h, w) float32.

    Interleaved gradient noise (Jimenez, Next generation post processing, SIGGRAPH 2014).
    """
    row, column = np.arange(first, first + height), np.arange(width)
    slope = 0.00583715 * row[:, None] + 0.06711056 * column
    # The share beyond the whole number; `%` takes ten times as long.
    grain = 52.9829189 * (slope - np.floor(slope))
    return (grain - np.floor(grain)).astype(np.float32)
