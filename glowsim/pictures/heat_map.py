"""A cut through a body with its temperatures in colours."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.pictures.colour_scale import ColourScale, draw_scale
from glowsim.pictures.inks import FAINT_INK, INK, PAPER, contrasting
from glowsim.pictures.text import font, scale_bar, shortened

WIDTH, TALL = 800, 800
"""Least width of the page and height of the cut, about [px]."""
OUTLINE_PX = 3
ALIKE_K = 0.3
"""Places so near to the hottest are as hot."""
BOARD_WORDS = "light board: black outline with a white rim"
"""It is seen on every temperature's colour."""


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
    scale = ColourScale(room_c, max(hottest, room_c + 1.0), logarithmic=False, unit="°C")
    zoom = max(1, round(TALL / max(temperature_c.shape)))
    where, board = (np.repeat(np.repeat(a, zoom, 0), zoom, 1) for a in (region, boards))
    filled = np.where(np.isnan(temperature_c), room_c, temperature_c)
    filled_colours = np.repeat(np.repeat(scale.colours(filled), zoom, 0), zoom, 1)
    shown = filled_colours.copy()
    shown[where < 0] = PAPER
    border = _border(where)
    shown[border] = contrasting(shown[border])
    shown[ndimage.binary_dilation(board, iterations=OUTLINE_PX)] = PAPER
    shown[board] = filled_colours[board]
    shown[board & ~ndimage.binary_erosion(board, iterations=OUTLINE_PX)] = INK
    cut = Image.fromarray(shown.astype(np.uint8))
    size = TALL / 40
    top, left = round(5 * size), max(round(2 * size), (WIDTH - cut.width - round(10 * size)) // 2)
    page = Image.new(
        "RGB", (max(WIDTH, left + cut.width + round(11 * size)), cut.height + top + round(6 * size))
    )
    page.paste(PAPER, (0, 0, *page.size))
    page.paste(cut, (left, top))
    draw = ImageDraw.Draw(page)
    room = page.width - 2 * size
    draw.text((size, size), shortened(title, size, room), INK, font(size), anchor="lt")
    words = shortened(f"{caption}; {BOARD_WORDS}", size, room)
    draw.text((size, page.height - size), words, FAINT_INK, font(size), anchor="lb")
    beside = left + cut.width + round(2 * size)
    draw_scale(page, scale, beside, top + round(2 * size), cut.height // 2, size)
    _hottest_place(draw, temperature_c, zoom, (left, top), size)
    scale_bar(
        draw,
        right_px=page.width - 2 * size,
        middle_px=top + cut.height - size,
        most_px=6 * size,
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
    hottest = float(np.nanmax(temperature_c))
    # A board is about as hot all over: its middle stands for it, and its outline stays free.
    row, column = (float(k.mean()) + 0.5 for k in np.nonzero(temperature_c > hottest - ALIKE_K))
    x, y = corner[0] + zoom * column, corner[1] + zoom * row
    away = corner[0] + zoom * temperature_c.shape[1]
    draw.line([x, y, away, y], PAPER, 3)
    draw.line([x, y, away, y], INK, 1)
    words = f"{hottest:.0f} °C"
    draw.text((away + 0.3 * size_px, y), words, INK, font(size_px), anchor="lm")
