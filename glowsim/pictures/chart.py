"""Charts of figures over a quantity: small panels side by side, on paper white."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from PIL import Image

from glowsim.errors import PictureError
from glowsim.pictures.figure import new_figure, picture_of
from glowsim.pictures.inks import FAINT_INK, GRID, INK, SERIES, hexed

INCHES_PER_PANEL = (4.6, 3.2)
DPI = 130
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
"""Each colour of a series comes with one of its own."""
LEAST_SHARE = 1e-4
"""A panel of powers of ten shows nothing below this share of the greatest."""
_FAINT = hexed(FAINT_INK)
_LEAST_TOP = 4.2
"""A panel of counts reaches at least so high, or one spot would look like the world's end."""


@dataclass(frozen=True)
class Line:
    """One line of a panel.

    x, y   : the points;  label : its name in the legend, which lists each series once
    series : number that decides colour and marker;  dashed : for a second figure of a series
    """

    x: Sequence[float]
    y: Sequence[float]
    label: str
    series: int = 0
    dashed: bool = False


@dataclass(frozen=True)
class Panel:
    """One figure over the quantity.

    levels : horizontal lines to be held against, with words;  rings : points to point out
    log    : the figure runs over powers of ten; what is too small beside the rest is left out
    whole  : the figure is a count
    """

    title: str
    lines: Sequence[Line]
    levels: Sequence[tuple[float, str]] = ()
    rings: Sequence[tuple[float, float]] = ()
    log: bool = False
    whole: bool = False


def chart(panels: Sequence[Panel], x_label: str, *, title: str = "", note: str = "") -> Image.Image:
    """Return a chart of several panels over one quantity, with a legend where names differ.

    Raises PictureError if there is nothing to draw.
    """
    if not any(len(line.x) for panel in panels for line in panel.lines):
        raise PictureError("a chart needs at least one line with a point")
    columns = min(3, len(panels))
    rows = -(-len(panels) // columns)
    width, height = INCHES_PER_PANEL
    figure = new_figure(width * columns, height * rows + 0.9, DPI)
    axes = figure.subplots(rows, columns, squeeze=False).ravel()
    for axis, panel in zip(axes, panels, strict=False):
        _draw(axis, panel, x_label)
    for axis in axes[len(panels) :]:
        axis.set_visible(False)
    figure.suptitle(title, fontsize=13, x=0.01, ha="left")
    figure.supxlabel(note, fontsize=9, x=0.01, ha="left", color=_FAINT)
    _legend(figure, panels)
    return picture_of(figure)


def _draw(axis: Any, panel: Panel, x_label: str) -> None:
    least = -math.inf
    if panel.log:
        least = LEAST_SHARE * max((y for line in panel.lines for y in line.y), default=0.0)
    for line in panel.lines:
        shown = [(x, y) for x, y in zip(line.x, line.y, strict=True) if y > least]
        axis.plot(
            [x for x, _ in shown],
            [y for _, y in shown],
            color=SERIES[line.series % len(SERIES)],
            marker=MARKERS[line.series % len(MARKERS)],
            markersize=4,
            markerfacecolor="white" if line.dashed else None,
            linestyle="--" if line.dashed else "-",
            linewidth=1.6,
        )
    for value, words in panel.levels:
        axis.axhline(value, color=_FAINT, linewidth=1, linestyle=":")
        axis.annotate(
            words, (0.99, value), xycoords=("axes fraction", "data"), ha="right", va="bottom",
            fontsize=8, color=_FAINT,
        )  # fmt: skip
    for x, y in panel.rings:
        axis.plot(x, y, marker="o", markersize=13, markerfacecolor="none", color=hexed(INK))
    if panel.log:
        axis.set_yscale("log")
    else:
        held = [*(y for line in panel.lines for y in line.y), *(level for level, _ in panel.levels)]
        top = 1.08 * max(held, default=1.0) or 1.0
        axis.set_ylim(0, max(top, _LEAST_TOP) if panel.whole else top)
        if panel.whole:
            axis.yaxis.get_major_locator().set_params(integer=True)
    if all(float(x).is_integer() for line in panel.lines for x in line.x):
        axis.xaxis.get_major_locator().set_params(integer=True)
    axis.set_title(panel.title, fontsize=10, loc="left")
    axis.set_xlabel(x_label, fontsize=9)
    axis.tick_params(labelsize=8)
    axis.grid(color=hexed(GRID), linewidth=0.7)
    axis.set_axisbelow(True)


def _legend(figure: Any, panels: Sequence[Panel]) -> None:
    """Put the names of the series at the top, where there is more than one."""
    from matplotlib.lines import Line2D

    named = {line.series: line.label for panel in panels for line in panel.lines if not line.dashed}
    handles = [
        Line2D(
            [],
            [],
            color=SERIES[series % len(SERIES)],
            marker=MARKERS[series % len(MARKERS)],
            label=label,
        )
        for series, label in named.items()
    ]
    if len(handles) > 1:
        figure.legend(handles=handles, loc="outside upper right", ncols=4, fontsize=9)
