"""Sections through a body, coloured by where more or less light would mend a place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from PIL import Image

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray
from glowsim.pictures.figure import new_figure, picture_of
from glowsim.pictures.inks import FAINT_INK, INK, MEND, NOWHERE, PAPER, colour_map, hexed

DPI = 130
_LITTLE = 0.1
"""A weaker effect is not hatched."""
MarkKind = Literal["light", "hot", "dark"]


@dataclass(frozen=True)
class Section:
    """A plane through a body.

    across, up : names of its axes;  title : where it lies
    across_mm, up_mm : (w,), (h,) float, places of the samples
    effect : (h, w) float, -1 to 1, NaN outside the body
    """

    title: str
    across: str
    up: str
    across_mm: FloatArray
    up_mm: FloatArray
    effect: FloatArray


@dataclass(frozen=True)
class SectionMark:
    """A light or the place to be mended.

    places_mm : where on each section, (2,) float;  on : whether it lies on or near each
    """

    kind: MarkKind
    label: str
    places_mm: tuple[FloatArray, ...]
    on: tuple[bool, ...]


def draw_sections(
    sections: Sequence[Section], marks: Sequence[SectionMark], *, title: str, note: str = ""
) -> Image.Image:
    """Return the sections side by side at one scale of mm.

    Raises PictureError if there is nothing to draw.
    """
    if not sections:
        raise PictureError("a picture of sections needs at least one section")
    spans = [(float(np.ptp(s.across_mm)), float(np.ptp(s.up_mm))) for s in sections]
    per_mm = 5.2 / max(max(high for _, high in spans), 0.4 * sum(wide for wide, _ in spans))
    widths = [max(wide * per_mm, 1.6) for wide, _ in spans]
    height = max(high for _, high in spans) * per_mm
    figure = new_figure(sum(widths) + 1.1 * len(spans) + 2.2, height + 2.0, DPI, constrained=False)
    axes = figure.subplots(1, len(sections), width_ratios=widths, squeeze=False)[0]
    image: Any = None
    for number, (axis, section) in enumerate(zip(axes, sections, strict=True)):
        image = _draw(axis, section)
        for mark in marks:
            _mark(axis, mark, mark.places_mm[number], mark.on[number])
    figure.subplots_adjust(
        left=0.07,
        right=0.86,
        top=1 - 0.95 / (height + 2.0),
        bottom=0.16,
        wspace=1.1 * len(widths) / sum(widths),
    )
    bar = figure.colorbar(image, ax=list(axes), fraction=0.03, pad=0.03, ticks=[-1, 0, 1])
    _hatch(
        bar.ax, np.array([0.0, 1.0]), np.array([-1.0, 0.0]), np.array([[-1.0, -1.0], [0.0, 0.0]])
    )
    bar.ax.set_yticklabels(["less light here", "no matter", "more light here"], fontsize=9)
    figure.suptitle(title, fontsize=12, x=0.02, ha="left")
    figure.text(0.02, 0.02, note, fontsize=9, color=hexed(FAINT_INK))
    return picture_of(figure)


def _draw(axis: Any, section: Section) -> Any:
    step_across = float(section.across_mm[1] - section.across_mm[0]) / 2
    step_up = float(section.up_mm[1] - section.up_mm[0]) / 2
    extent = (
        section.across_mm[0] - step_across,
        section.across_mm[-1] + step_across,
        section.up_mm[0] - step_up,
        section.up_mm[-1] + step_up,
    )
    axis.set_facecolor(hexed(NOWHERE))
    image = axis.imshow(
        np.ma.masked_invalid(section.effect),
        origin="lower",
        extent=extent,
        cmap=colour_map(MEND),
        vmin=-1,
        vmax=1,
        interpolation="nearest",
    )
    _hatch(axis, section.across_mm, section.up_mm, section.effect)
    inside = np.isfinite(section.effect).astype(float)
    if 0 < inside.sum() < inside.size:
        axis.contour(
            section.across_mm, section.up_mm, inside, [0.5], colors=hexed(INK), linewidths=1
        )
    axis.set_aspect("equal")
    axis.set_title(section.title, fontsize=9, loc="left")
    axis.set_xlabel(f"{section.across}, mm", fontsize=9)
    axis.set_ylabel(f"{section.up}, mm", fontsize=9)
    axis.tick_params(labelsize=8)
    return image


def _hatch(axis: Any, across: FloatArray, up: FloatArray, effect: FloatArray) -> None:
    """Hatch where less light mends: in a grey print both sides are alike."""
    if np.nanmin(effect) < -_LITTLE:
        levels = [-np.inf, -_LITTLE]
        axis.contourf(across, up, np.ma.masked_invalid(effect), levels, colors="none",
                      hatches=["//"])  # fmt: skip


def _mark(axis: Any, mark: SectionMark, place: FloatArray, on: bool) -> None:
    marker, size = {"light": ("o", 6), "hot": ("^", 10), "dark": ("s", 9)}[mark.kind]
    axis.plot(
        place[0], place[1], marker, markersize=size, zorder=5,
        markeredgecolor=hexed(PAPER if on else INK), markerfacecolor=hexed(INK) if on else "none",
        clip_on=False,
    )  # fmt: skip
    axis.annotate(
        mark.label, (place[0], place[1]), xytext=(6, 5), textcoords="offset points", fontsize=8,
        zorder=6, bbox={"facecolor": hexed(PAPER), "alpha": 0.75, "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip
