"""A map of how two results differ: their ratio as colour, from as many sides as it takes.

Where a result is noisy, only what exceeds its noise is coloured: white means that no difference
can be told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from PIL import Image

from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.camera import LEAST_MAP_PX, Camera, Size, checked_size
from glowsim.pictures.colour_scale import ColourScale
from glowsim.pictures.inks import OFF, PAPER
from glowsim.pictures.map_page import FINE, Words, map_page
from glowsim.pictures.marks import Mark
from glowsim.pictures.photo import Studio
from glowsim.pictures.visibility import Points

TOO_NOISY = 0.06
"""Where the ratio is no better known than this, no colour is shown."""
SURE = 2.0
"""Standard errors by which a difference is lessened before it is shown."""
_RANGES = (1.05, 1.1, 1.2, 1.5, 2.0, 3.0, 5.0)
_MARKED = 0.98
"""The scale holds this share of the area; the rest takes the colour of the ends."""
_HATCHED = 0.45
"""Below this share of the scale a ratio is told from one."""


@dataclass(frozen=True)
class RatioScale(ColourScale):
    """Ratios from 1 / `high` to `high`: blue above one, orange and hatched below, white at one.

    Both ends are as dark: the hues tell them apart, to colour-blind eyes too, and in a grey print
    the hatching does.
    """

    unit: str = "off, at least"
    steps: tuple[str, ...] = OFF
    hatched: float = _HATCHED

    @cached_property
    def ticks(self) -> FloatArray:
        """Round ratios on the scale, one and both ways from it."""
        above = [ratio for ratio in _RANGES if ratio <= self.high * (1 + 1e-9)][-3:]
        return np.array([*(1 / r for r in reversed(above)), 1.0, *above])

    def label(self, tick: float) -> str:
        """Return a ratio as people say it."""
        return f"{100 * (tick - 1):+.0f} %" if abs(tick - 1) > 1e-9 else "same"


@dataclass(frozen=True)
class Compared:
    """What a ratio map shows of one copy: its faces' ratios and their errors, nan where none.

    ratio, noise : (k,) float
    """

    ratio: FloatArray
    noise: FloatArray


def ratio_scale(ratio: FloatArray, area_mm2: FloatArray) -> RatioScale:
    """Return the narrowest round scale that holds nearly all of the area, (n,) float each."""
    known = np.isfinite(ratio) & (ratio > 0)
    if not known.any():
        return RatioScale(1 / _RANGES[1], _RANGES[1], True)
    away = np.exp(np.abs(np.log(ratio[known])))
    order = np.argsort(away)
    share = np.cumsum(area_mm2[known][order]) / area_mm2[known].sum()
    wanted = away[order][min(int(np.searchsorted(share, _MARKED)), len(order) - 1)]
    high = next((r for r in _RANGES if r >= wanted), _RANGES[-1])
    return RatioScale(1 / high, high, True)


def ratio_map(
    studio: Studio,
    compared: Mapping[str, Compared],
    words: Words,
    marks: Sequence[Mark] = (),
    size: Size = (1600, 1000),
) -> Image.Image:
    """Return a map of ratios on the prop of `studio`.

    compared : by the copy's name; copies without are grey
    Raises PictureError for a size out of range.
    """
    size = checked_size(size, LEAST_MAP_PX)
    stage = studio.stage
    ratio, noise = (np.full(len(stage.triangles), np.nan) for _ in range(2))
    for number, copy in enumerate(studio.glow.copies):
        if copy.name in compared:
            mine = stage.copy == number
            ratio[mine] = compared[copy.name].ratio[stage.face[mine]]
            noise[mine] = compared[copy.name].noise[stage.face[mine]]
    told = np.isfinite(ratio) & (noise < TOO_NOISY)
    logs = np.log(np.where(told, ratio, 1.0))
    errors = np.where(told, noise / np.maximum(ratio, 1e-9), 0.0)
    logs = np.sign(logs) * np.maximum(np.abs(logs) - SURE * errors, 0.0)
    scale = ratio_scale(np.where(told, np.exp(logs), np.nan), stage.areas_mm2)

    def paint(camera: Camera, points: Points) -> np.ndarray:
        width, height = camera.size
        toward = np.abs(stage.normals[points.triangle] @ camera.forward)
        ratios = np.exp(logs[points.triangle])
        shown = scale.painted(ratios, points.row, points.column, FINE)
        # A little shading tells the form; the colour stays what the scale says.
        shown *= (0.9 + 0.1 * toward)[:, None]
        grey = (110 + 80 * toward)[:, None]
        picture = np.full((height, width, 3), PAPER[0], dtype=float)
        picture[points.row, points.column] = np.where(told[points.triangle, None], shown, grey)
        return picture.astype(np.uint8)

    return map_page(studio, paint, scale, words, marks, size)
