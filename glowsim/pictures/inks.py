"""Colours that pictures are drawn in: inks that can be read, and scales that survive a grey print.

Every colour of a picture that is no photograph stands here. Text keeps a contrast of TEXT_CONTRAST
to its paper, lines that tell something LINE_CONTRAST (WCAG 2.1, success criteria 1.4.3, 1.4.11).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.srgb import contrast_ratio, srgb_of_lch

Colour = tuple[int, int, int]
"""8-bit sRGB."""
TEXT_CONTRAST, LINE_CONTRAST = 4.5, 3.0

PAPER: Colour = (255, 255, 255)
INK: Colour = (35, 35, 40)
FAINT_INK: Colour = (100, 100, 108)
LIMIT: Colour = (200, 40, 30)
FRAME: Colour = (140, 140, 146)
NOWHERE: Colour = (242, 242, 242)
"""Outside of what a section cuts."""
GRID: Colour = (228, 228, 228)
"""Behind a chart; it helps the eye and tells nothing by itself."""

NIGHT: Colour = (14, 14, 16)
"""Paper around photographs."""
NIGHT_INK: Colour = (220, 220, 222)
NIGHT_FAINT: Colour = (150, 150, 152)

SERIES = ("#0072b2", "#d55e00", "#009e73", "#441235", "#3c4c1c", "#7e486b", "#3138a7")
"""Lines of a chart: apart by 15 or more in CIELAB, to colour-blind eyes too."""


def hexed(colour: Sequence[float] | FloatArray) -> str:
    """Return an 8-bit colour as '#rrggbb'."""
    return "#" + "".join(f"{round(float(band)):02x}" for band in colour)


def _ramp(
    lightness: Sequence[float], chroma: Sequence[float], hue_deg: Sequence[float], count: int = 33
) -> tuple[str, ...]:
    """Return colours evenly along a path through CIELAB, as 'rrggbb'.

    lightness, chroma, hue_deg : at points spread evenly from the low end to the high one;
    lightness runs straight between them, so that it is as even as 8 bits allow
    """
    at = np.linspace(0.0, 1.0, count)
    light = np.interp(at, np.linspace(0.0, 1.0, len(lightness)), lightness)
    other = [PchipInterpolator(np.linspace(0.0, 1.0, len(k)), k)(at) for k in (chroma, hue_deg)]
    return tuple(hexed(colour)[1:] for colour in 255 * srgb_of_lch(light, *other))


GLOW = _ramp((14, 95), (38, 30, 38, 46, 14), (300, 350, 410, 440, 480))
"""From dark indigo by way of wine and copper to pale straw."""


def two_sided(below_deg: float, above_deg: float) -> tuple[str, ...]:
    """Return colours from one hue by way of near white to another, both ends as dark.

    In grey the ends are alike, so whoever draws with them hatches the lower side.
    """
    low, high = ([below_deg] * 3, [above_deg] * 3)
    return (
        *_ramp((38, 97), (52, 30, 2), low, 17)[:-1],
        *_ramp((97, 38), (2, 30, 52), high, 17),
    )


OFF = two_sided(58, 262)
"""Too dark is orange, too bright is blue."""
MEND = two_sided(310, 62)
"""Less light mends where it is violet, more where it is orange."""


def contrasting(colours: FloatArray) -> FloatArray:
    """Return PAPER or INK, whichever stands out more on each 8-bit colour, (..., 3) float."""
    light = contrast_ratio(PAPER, colours) > contrast_ratio(INK, colours)
    return np.where(light[..., None], np.array(PAPER, dtype=float), np.array(INK, dtype=float))


def line_colour(colour: FloatArray) -> Colour:
    """Return a light's colour, linear sRGB (3,), as an ink for lines on paper: its hue, darkened
    until it has LINE_CONTRAST."""
    strong = 220.0 * (colour / max(float(colour.max()), 1e-9)) ** 0.6
    while contrast_ratio(PAPER, strong) < LINE_CONTRAST:
        strong *= 0.97
    return (round(strong[0]), round(strong[1]), round(strong[2]))


def colour_map(colours: Sequence[str]) -> Any:
    """Return colours as a colour map of matplotlib."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("own", [f"#{colour}" for colour in colours])
