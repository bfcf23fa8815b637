"""Strip chart: how levels run over time, one strip under the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.figure import new_figure, picture_of
from glowsim.pictures.inks import INK, LIMIT, Colour, hexed
from glowsim.pictures.text import number, shortened

WIDTH_IN, STRIP_IN, HEAD_IN, FOOT_IN, DPI = 12.0, 0.75, 0.55, 0.6, 100
LEFT, RIGHT = 0.19, 0.9
"""Shares of the width: names stand left of the strips, notes right."""
NAME_PX = 190.0


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
    height = HEAD_IN + STRIP_IN * len(strips) + FOOT_IN
    figure = new_figure(WIDTH_IN, height, DPI, constrained=False)
    figure.subplots_adjust(LEFT, FOOT_IN / height, RIGHT, 1 - HEAD_IN / height, hspace=0.25)
    axes = figure.subplots(len(strips), sharex=True, squeeze=False)[:, 0]
    for axis, strip in zip(axes, strips, strict=True):
        colour, time_s = hexed(strip.colour), np.linspace(0, seconds, len(strip.values))
        axis.fill_between(time_s, strip.values, color=colour, alpha=0.3, linewidth=0)
        axis.plot(time_s, strip.values, color=colour, linewidth=1.6)
        if strip.limit is not None:
            axis.axhline(strip.limit, color=hexed(LIMIT), linewidth=1.6)
        axis.set_yticks([0, strip.top], ["0", number(strip.top)], fontsize=8)
        axis.set(xlim=(0, seconds), ylim=(0, 1.04 * max(strip.top, 1e-12)))
        name = shortened(strip.name, 14, NAME_PX)
        at = ("figure fraction", "axes fraction")
        axis.annotate(name, (0.015, 0.5), xycoords=at, va="center", color=hexed(INK))
        axis.annotate(strip.note, (1.01, 0.5), xycoords="axes fraction", va="center", fontsize=9)
    axes[-1].set_xlabel("seconds")
    figure.suptitle(shortened(title, 18, 95 * WIDTH_IN), fontsize=13, x=0.015, ha="left")
    return picture_of(figure)
