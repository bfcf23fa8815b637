"""A page of views of a prop painted by some figure: marks, a scale of colours, a list below."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from PIL import Image, ImageDraw

from glowsim.pictures.camera import LEAST_PX, Camera, Size
from glowsim.pictures.colour_scale import ColourScale, draw_scale
from glowsim.pictures.inks import FAINT_INK, INK, PAPER
from glowsim.pictures.marks import (
    KIND_WORDS,
    Kind,
    Mark,
    draw_marks,
    draw_symbol,
    marks_seen,
)
from glowsim.pictures.photo import Studio
from glowsim.pictures.text import font, number, scale_bar, shortened, text_width
from glowsim.pictures.visibility import Points, points_seen

MOST_VIEWS = 4
FINE = 2
"""Views are drawn so many times finer and made small again."""
_SLACK = 0.01
"""Marks may lie this share of the prop's radius below the surface, and still be seen."""
_SIDES = {0: "front", 180: "back", 90: "right", 270: "left"}

Angles = tuple[float, float, str]
"""Azimuth and elevation of a view [deg], and its name."""
Paint = Callable[[Camera, Points], np.ndarray]
"""Returns the picture of one view, (h, w, 3) uint8."""


@dataclass(frozen=True)
class Words:
    """What a page says: its title, what each kind of mark stands for, and what is grey."""

    title: str
    kinds: Mapping[Kind, str] = field(default_factory=lambda: KIND_WORDS)
    grey: str = "grey: not meant to glow"


def map_page(
    studio: Studio,
    paint: Paint,
    scale: ColourScale,
    words: Words,
    marks: Sequence[Mark],
    size: Size,
) -> Image.Image:
    """Return a page: views enough to show every mark that can be seen, and what they mean."""
    options = _options(studio)
    marks = [_where_seen(studio, mark, options) for mark in marks]
    views, seen = _chosen(studio, marks, options)
    page = Image.new("RGB", size, PAPER)
    text_px = max(10.0, size[1] / 55)
    margin = round(text_px)
    bar_width = round(text_px * 7)
    foot = _draw_foot(page, words, marks, seen, text_px, margin)
    title = shortened(words.title, text_px * 1.3, size[0] - 2 * margin)
    draw = ImageDraw.Draw(page)
    draw.text((margin, margin), title, INK, font(text_px * 1.3), anchor="la")
    top = round(margin + 2.4 * text_px)
    area = (margin, top, size[0] - bar_width - 2 * margin, foot - margin)
    columns, rows = _layout(len(views), area[2] - area[0], area[3] - area[1])
    cell = ((area[2] - area[0]) // columns, (area[3] - area[1]) // rows)
    hidden = ~np.any(seen, axis=0)
    for k, (angles, near) in enumerate(zip(views, seen, strict=True)):
        # A mark that no view shows is drawn hollow in each.
        here = [mark for mark, draws in zip(marks, near | hidden, strict=True) if draws]
        filled = near[near | hidden]
        picture = _view(studio, paint, angles, here, filled, cell, text_px)
        page.paste(picture, (area[0] + k % columns * cell[0], area[1] + k // columns * cell[1]))
    draw_scale(
        page, scale, area[2] + margin, top + round(2 * text_px), area[3] - top - margin * 4, text_px
    )
    return page


def _chosen(
    studio: Studio, marks: Sequence[Mark], options: Mapping[Angles, Camera]
) -> tuple[list[Angles], list[np.ndarray]]:
    """Return the views to draw and which marks each one sees: front, back, and more if needed."""
    seen, angles = _seen_from(studio, marks, options.values()), list(options)
    chosen = [0, 1]
    while len(chosen) < MOST_VIEWS:
        missing = ~np.any([seen[k] for k in chosen], axis=0)
        gains = [int((sees & missing).sum()) for sees in seen]
        if not marks or max(gains) == 0:
            break
        chosen.append(int(np.argmax(gains)))
    return [angles[k] for k in chosen], [seen[k] for k in chosen]


def _options(studio: Studio) -> dict[Angles, Camera]:
    """Return the views there are to choose from, the front first and then the back."""
    view = studio.scene.view
    sides = [(view.azimuth_deg + turn, view.elevation_deg, name) for turn, name in _SIDES.items()]
    above, below = (view.azimuth_deg, 75.0, "from above"), (view.azimuth_deg, -75.0, "from below")
    return {
        angles: studio.camera((100, 100), azimuth_deg=angles[0], elevation_deg=angles[1])
        for angles in (*sides, above, below)
    }


def _seen_from(
    studio: Studio, marks: Sequence[Mark], cameras: Iterable[Camera]
) -> list[np.ndarray]:
    """Return which marks each camera sees, (n,) bool each."""
    slack = _SLACK * studio.stage.radius_mm
    return [marks_seen(marks, camera, studio.stage.rays, slack) for camera in cameras]


def _where_seen(studio: Studio, mark: Mark, options: Mapping[Angles, Camera]) -> Mark:
    """Return the mark at the first of its places that the earliest possible view sees."""
    places = [mark, *(replace(mark, point_mm=point) for point in mark.elsewhere_mm)]
    if len(places) > 1:
        for seen in _seen_from(studio, places, options.values()):
            if seen.any():
                return places[int(seen.argmax())]
    return mark


def _view(
    studio: Studio,
    paint: Paint,
    angles: Angles,
    marks: Sequence[Mark],
    filled: np.ndarray,
    size: Size,
    text_px: float,
) -> Image.Image:
    azimuth, elevation, name = angles
    line = round(1.6 * text_px)
    inner = (size[0], max(size[1] - 2 * line, LEAST_PX))
    camera = studio.camera(inner, azimuth_deg=azimuth, elevation_deg=elevation).refined(FINE)
    points = points_seen(studio.stage.triangles, camera, studio.view(camera))
    picture = Image.fromarray(paint(camera, points))
    draw_marks(ImageDraw.Draw(picture), marks, filled, camera, text_px * FINE)
    cell = Image.new("RGB", size, PAPER)
    cell.paste(picture.resize(inner, Image.Resampling.BOX), (0, line))
    draw = ImageDraw.Draw(cell)
    words = f"{name}: azimuth {number(azimuth % 360)}°, elevation {number(elevation)}°"
    words = shortened(words, text_px, size[0] - text_px)
    draw.text((text_px * 0.5, line / 2), words, FAINT_INK, font(text_px), anchor="lm")
    distance = float(np.linalg.norm(studio.stage.centre - camera.eye_mm))
    scale_bar(
        draw,
        right_px=size[0] - text_px,
        middle_px=size[1] - line / 2,
        most_px=size[0] / 5,
        mm_per_px=camera.pixel_mm(distance) * FINE,
        size_px=text_px,
        colour=FAINT_INK,
    )
    return cell


def _layout(count: int, width: int, height: int) -> tuple[int, int]:
    """Return columns and rows that leave the largest square cells."""
    options = [(columns, -(-count // columns)) for columns in range(1, count + 1)]
    return max(options, key=lambda o: min(width / o[0], height / o[1]))


def _draw_foot(
    page: Image.Image,
    words: Words,
    marks: Sequence[Mark],
    seen: Sequence[np.ndarray],
    text_px: float,
    margin: int,
) -> int:
    """Draw the legend and the list of marks at the bottom; return its upper edge [px]."""
    draw = ImageDraw.Draw(page)
    line = round(text_px * 1.5)
    columns = max(1, min(3, int(page.width // (text_px * 34))))
    most = max(1, int(page.height * 0.3 // line) - 1) * columns
    shown = list(marks)[:most]
    rows = -(-len(shown) // columns)
    top = page.height - margin - line * (rows + 1)
    x = float(margin)
    for entry, kind, filled in _legend(words, marks, seen, len(shown)):
        if kind:
            draw_symbol(draw, kind, x + text_px / 2, top + line / 2, text_px, filled)
            x += text_px * 1.4
        draw.text((x, top + line / 2), entry, FAINT_INK, font(text_px), anchor="lm")
        x += text_width(entry, text_px) + 2 * text_px
    width = (page.width - 2 * margin) / columns
    for k, mark in enumerate(shown):
        x = margin + k // rows * width
        y = top + line * (k % rows + 1.5)
        draw_symbol(draw, mark.kind, x + text_px / 2, y, text_px, True)
        label = shortened(f"{mark.number}  {mark.label}", text_px, width - 3 * text_px)
        draw.text((x + 1.4 * text_px, y), label, INK, font(text_px), anchor="lm")
    return top


def _legend(
    words: Words, marks: Sequence[Mark], seen: Sequence[np.ndarray], listed: int
) -> list[tuple[str, str | None, bool]]:
    """Return what the legend says: words, symbol, and whether it is filled."""
    legend: list[tuple[str, str | None, bool]] = []
    for kind in dict.fromkeys(mark.kind for mark in marks):
        legend.append((words.kinds[kind], kind, True))
    hidden = [mark for mark, near in zip(marks, np.any(seen, axis=0), strict=True) if not near]
    if hidden:
        legend.append(("not filled: hidden from all these sides", hidden[0].kind, False))
    legend.append((words.grey, None, True))
    if listed < len(marks):
        legend.append((f"and {len(marks) - listed} more marks", None, True))
    return legend
