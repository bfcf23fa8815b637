"""Strip chart: how levels run over time, one strip under the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.inks import FAINT_INK, FRAME, INK, LIMIT, PAPER, Colour
from glowsim.pictures.text import font, number, round_number, shortened

WIDTH_PX = 1200
_STRIP_PX, _GAP_PX = 64, 14
_LEFT_PX, _RIGHT_PX = 230, 110
_FINE = 3
"""Drawn so many times larger and made small again, so that lines are smooth."""


@dataclass(frozen=True)
class Strip:
    """One strip.

    name   : written before it;  values : (t,) float;  top : value at its upper edge
    colour : of the line;  note : written behind it
    limit  : value at which a line is drawn across, None for none
    """

    name: str
    values: FloatArray
    top: float
    colour: Colour
    note: str = ""
    limit: float | None = None


def strip_chart(strips: Sequence[Strip], seconds: float, title: str) -> Image.Image:
    """Return a chart of strips over the same time. Raises PictureError if there are none."""
    if not strips:
        raise PictureError("a strip chart needs at least one strip")
    head, foot = 52, 56
    height = head + len(strips) * (_STRIP_PX + _GAP_PX) + foot
    page = Image.new("RGB", (WIDTH_PX, height), PAPER)
    draw = ImageDraw.Draw(page)
    draw.text((18, 16), shortened(title, 19, WIDTH_PX - 36), INK, font(19))
    width = WIDTH_PX - _LEFT_PX - _RIGHT_PX
    for k, strip in enumerate(strips):
        top = head + k * (_STRIP_PX + _GAP_PX)
        page.paste(_plot(strip, width), (_LEFT_PX, top))
        name = shortened(strip.name, 15, _LEFT_PX - 62)
        draw.text((18, top + _STRIP_PX / 2), name, INK, font(15), anchor="lm")
        for text, y, anchor in ((number(strip.top), top, "rt"), ("0", top + _STRIP_PX, "rb")):
            draw.text((_LEFT_PX - 8, y), text, FAINT_INK, font(12), anchor=anchor)
        draw.text(
            (WIDTH_PX - _RIGHT_PX + 8, top + _STRIP_PX / 2), strip.note, INK, font(13), anchor="lm"
        )
    _time_axis(draw, width, head + len(strips) * (_STRIP_PX + _GAP_PX) - _GAP_PX + 4, seconds)
    return page


def _plot(strip: Strip, width: int) -> Image.Image:
    """Return one strip: the line, the area below it tinted."""
    w, h = width * _FINE, _STRIP_PX * _FINE
    picture = Image.new("RGB", (w, h), PAPER)
    draw = ImageDraw.Draw(picture)
    x = np.linspace(0, w - 1, len(strip.values))
    y = (h - 1) * (1 - np.clip(strip.values / max(strip.top, 1e-12), 0, 1))
    line = list(zip(x.tolist(), y.tolist(), strict=True))
    tint = tuple(round(255 - 0.3 * (255 - c)) for c in strip.colour)
    draw.polygon([(0, h), *line, (w - 1, h)], fill=tint)
    draw.line(line, fill=strip.colour, width=2 * _FINE, joint="curve")
    if strip.limit is not None:
        level = (h - 1) * (1 - min(strip.limit / max(strip.top, 1e-12), 1.0))
        draw.line([(0, level), (w - 1, level)], fill=LIMIT, width=2 * _FINE)
    draw.rectangle([0, 0, w - 1, h - 1], outline=FRAME, width=_FINE)
    return picture.resize((width, _STRIP_PX), Image.Resampling.LANCZOS)


def _time_axis(draw: ImageDraw.ImageDraw, width: int, top: float, seconds: float) -> None:
    step = round_number(seconds / 5)
    for k in range(int(seconds / step + 1e-9) + 1):
        x = _LEFT_PX + width * k * step / seconds
        draw.line([x, top, x, top + 6], FAINT_INK)
        draw.text((x, top + 10), number(k * step), FAINT_INK, font(13), anchor="mt")
    middle = _LEFT_PX + width / 2
    draw.text((middle, top + 28), "seconds", FAINT_INK, font(13), anchor="mt")
