"""A cut through a body with its temperatures in colours."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.pictures.colour_scale import ColourScale, draw_scale
from glowsim.pictures.text import FAINT_INK, INK, font, number, scale_bar, shortened

PAPER = (255, 255, 255)
LINE = (60, 60, 66)
BOARD = (235, 120, 20)
WIDTH = 900
HEAD = 0.045
"""Size of the writing as a share of the width of the page."""


def heat_map(
    temperature_c: FloatArray,
    region: IntArray,
    boards: np.ndarray,
    *,
    room_c: float,
    pixel_mm: float,
    title: str,
    caption: str,
) -> Image.Image:
    """Return a cut through a body: temperatures in colours, borders of its regions as lines.

    temperature_c : (h, w) float, NaN outside;  region : (h, w) int;  boards : (h, w) bool
    """
    hottest = float(np.nanmax(temperature_c))
    scale = ColourScale(room_c, max(hottest, room_c + 1.0), logarithmic=False)
    zoom = max(1, round(0.62 * WIDTH / max(temperature_c.shape)))
    where, board = (np.repeat(np.repeat(a, zoom, 0), zoom, 1) for a in (region, boards))
    filled = np.where(np.isnan(temperature_c), room_c, temperature_c)
    shown = np.repeat(np.repeat(scale.colours(filled), zoom, 0), zoom, 1)
    shown[where < 0] = PAPER
    shown[_border(where)] = LINE
    shown[_border(board) & board] = BOARD
    cut = Image.fromarray(shown.astype(np.uint8))
    size = WIDTH * HEAD * 0.5
    top, side = round(4 * size), round(10 * size)
    page_size = (max(cut.width + side + round(2 * size), 560), cut.height + top + round(4.5 * size))
    page = Image.new("RGB", page_size, PAPER)
    page.paste(cut, (round(size), top))
    draw = ImageDraw.Draw(page)
    room = page.width - 2 * size
    draw.text((size, size), shortened(title, 1.2 * size, room), INK, font(1.2 * size), anchor="lt")
    words = shortened(caption, size, room)
    draw.text((size, page.height - size), words, FAINT_INK, font(size), anchor="lb")
    height = round(0.7 * cut.height)
    draw_scale(page, scale, cut.width + round(2 * size), top + 40, height, size, "°C")
    _hottest_place(draw, temperature_c, zoom, (round(size), top), size)
    scale_bar(
        draw,
        right_px=cut.width,
        middle_px=top + cut.height + 0.8 * size,
        most_px=cut.width / 3,
        mm_per_px=pixel_mm / zoom,
        size_px=size,
        colour=INK,
    )
    return page


def _border(region: np.ndarray) -> np.ndarray:
    """Return the pixels beside another region, (h, w) bool."""
    return ndimage.maximum_filter(region, 2) != ndimage.minimum_filter(region, 2)


def _hottest_place(
    draw: ImageDraw.ImageDraw,
    temperature_c: FloatArray,
    zoom: int,
    corner: tuple[int, int],
    size_px: float,
) -> None:
    """Write the highest temperature at its place."""
    row, column = np.unravel_index(int(np.nanargmax(temperature_c)), temperature_c.shape)
    x, y = corner[0] + zoom * int(column), corner[1] + zoom * int(row)
    words = f"{number(float(temperature_c[row, column]))} °C"
    draw.text(
        (x, y - 0.6 * size_px),
        words,
        PAPER,
        font(size_px),
        anchor="ms",
        stroke_width=3,
        stroke_fill=INK,
    )
