"""The scale of a brightness map: which luminance is which colour, and the round values on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from PIL import Image, ImageDraw

from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.arrays import Floats, Ints
from glowsim.pictures.inks import GLOW, INK, contrasting
from glowsim.pictures.text import font, number, round_number

WIDE = 20.0
"""A range of brightness wider than this ratio is shown on a logarithmic scale."""
MOST_DECADES = 3.0
HATCH = 6
"""Of so many pixels one is a line of the hatching."""


@dataclass(frozen=True)
class ColourScale:
    """Luminances from `low` to `high` [cd/m2]; those beyond take the colour of the end.

    unit    : stands over the scale;  steps : colours from the low end to the high, 'rrggbb'
    hatched : share of the scale, from its low end, that is hatched too, for prints in grey
    """

    low: float
    high: float
    logarithmic: bool
    unit: str = "cd/m²"
    steps: tuple[str, ...] = GLOW
    hatched: float = 0.0

    def share(self, luminance_cd_m2: Floats | float) -> FloatArray:
        """Return the place on the scale, 0 to 1."""
        value = np.asarray(luminance_cd_m2, dtype=float)
        if self.logarithmic:
            value = np.log(np.maximum(value, self.low) / self.low) / np.log(self.high / self.low)
        else:
            value = (value - self.low) / (self.high - self.low)
        return np.clip(value, 0.0, 1.0)

    def colours(self, luminance_cd_m2: Floats) -> FloatArray:
        """Return 8-bit sRGB as floats, (..., 3)."""
        steps = np.array([list(bytes.fromhex(colour)) for colour in self.steps], dtype=float)
        place = self.share(luminance_cd_m2) * (len(steps) - 1)
        knots = np.arange(len(steps))
        return np.stack([np.interp(place, knots, band) for band in steps.T], axis=-1)

    def painted(self, luminance_cd_m2: Floats, row: Ints, column: Ints, fine: int) -> FloatArray:
        """Return colours as `colours` does, hatched where the scale is.

        row, column : (...,) int, of each value's pixel;  fine : pixels to one of the picture
        """
        colours = self.colours(luminance_cd_m2)
        line = (row + column) // fine % HATCH == 0
        line = line & (self.share(luminance_cd_m2) < self.hatched)
        return np.where(line[..., None], contrasting(colours), colours)

    @cached_property
    def ticks(self) -> FloatArray:
        """Round luminances on the scale: also the values of the contour lines."""
        if not self.logarithmic:
            step = round_number((self.high - self.low) / 4)
            return step * np.arange(np.ceil(self.low / step), np.floor(self.high / step + 1e-6) + 1)
        powers = np.arange(np.floor(np.log10(self.low)), np.ceil(np.log10(self.high)) + 1)
        every = np.array([1.0, 2.0, 5.0])
        all_ticks = (10.0 ** powers[:, None] * every).ravel()
        slack = 1 + 1e-9
        return all_ticks[(all_ticks * slack >= self.low) & (all_ticks <= self.high * slack)]

    def label(self, tick: float) -> str:
        """Return what stands beside a tick."""
        return number(tick)


def scale_for(luminance_cd_m2: FloatArray, areas_mm2: FloatArray) -> ColourScale:
    """Return a scale for the faces of a surface: 1 % of the area lies below it, 0.5 % above.

    luminance_cd_m2, areas_mm2 : (n,) float. Without any light the scale runs from 0 to 1.
    """
    lit = luminance_cd_m2 > 0
    if not lit.any():
        return ColourScale(0.0, 1.0, logarithmic=False)
    order = np.argsort(luminance_cd_m2)
    share = np.cumsum(areas_mm2[order]) / areas_mm2.sum()
    low, high = luminance_cd_m2[order][
        np.searchsorted(share, [0.01, 0.995]).clip(max=len(share) - 1)
    ]
    low = max(float(low), float(high) / 10**MOST_DECADES)
    if high / low > WIDE:
        return ColourScale(round_number(low), _round_above(float(high), (1, 2, 5)), True)
    return ColourScale(0.0, _round_above(float(high), (1, 1.5, 2, 3, 4, 5, 6, 8)), False)


def _round_above(value: float, steps: tuple[float, ...]) -> float:
    """Return the least of `steps` times a power of ten that is not below `value`."""
    power = 10.0 ** np.floor(np.log10(value))
    near = [step for step in (*steps, 10) if step * power * (1 + 1e-9) >= value]
    return float(min(near) * power)


def draw_scale(
    page: Image.Image,
    scale: ColourScale,
    left: int,
    top: int,
    height: int,
    size_px: float,
) -> None:
    """Draw a scale upright with its ticks; it takes about ten text sizes of width."""
    draw = ImageDraw.Draw(page)
    width = round(size_px * 1.4)
    share = 1 - (np.arange(height) + 0.5) / height
    if scale.logarithmic:
        value = scale.low * (scale.high / scale.low) ** share
    else:
        value = scale.low + (scale.high - scale.low) * share
    row, column = np.indices((height, width))
    bar = scale.painted(np.repeat(value[:, None], width, axis=1), row, column, 1)
    page.paste(Image.fromarray(bar.astype(np.uint8)), (left, top))
    draw.rectangle([left - 1, top - 1, left + width, top + height], outline=INK)
    draw.text((left, top - size_px * 0.7), scale.unit, INK, font(size_px), anchor="ls")
    for tick in scale.ticks:
        y = top + height * (1 - float(scale.share(tick)))
        draw.line([left + width, y, left + width + size_px * 0.4, y], INK, 1)
        draw.text(
            (left + width + size_px * 0.6, y), scale.label(tick), INK, font(size_px), anchor="lm"
        )
