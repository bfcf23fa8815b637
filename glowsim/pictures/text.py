"""Words and scale bars on pictures."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import ImageDraw, ImageFont

from glowsim.pictures.inks import Colour


@cache
def font(size_px: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return a font at a size: DejaVu Sans, which knows the letters of most languages.

    It comes with matplotlib, which is not imported for it. Without it, Pillow's own font, which
    knows little more than plain Latin letters.
    """
    file = font_file("DejaVuSans")
    return ImageFont.truetype(str(file), size_px) if file else ImageFont.load_default(size_px)


def font_file(name: str) -> Path | None:
    """Return the file of a font that comes with matplotlib, None where there is none."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return None
    file = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / f"{name}.ttf"
    return file if file.is_file() else None


def text_width(text: str, size_px: float) -> float:
    """Return the width of a line of text [px]."""
    return float(font(size_px).getlength(text))


def shortened(text: str, size_px: float, width_px: float) -> str:
    """Return `text`, cut with '...' so that it is no wider than `width_px`."""
    if text_width(text, size_px) <= width_px:
        return text
    while text and text_width(text + "...", size_px) > width_px:
        text = text[:-1]
    return text.rstrip() + "..." if text else ""


def boxes_note(texts: Iterable[str]) -> str:
    """Return which letters of some texts come out as boxes on pictures, as a note; '' for none."""
    there = font(24.0)
    box = bytes(there.getmask("\uffff"))  # no letter, so what stands for one that is missing
    letters = dict.fromkeys(letter for letter in "".join(texts) if letter.isprintable())
    gone = [letter for letter in letters if bytes(there.getmask(letter)) == box]
    if not gone:
        return ""
    return (
        f"pictures have no letters for {' '.join(gone)} and show boxes in their place; write the "
        "title and names in other letters"
    )


def round_number(limit: float) -> float:
    """Return the greatest of 1, 2, 5 times a power of ten that is not above `limit`."""
    power = 10.0 ** np.floor(np.log10(limit))
    # A hair of slack: 5.0 must count as 5 although the logarithm rounds.
    return float(max(step for step in (1, 2, 5) if step * power <= limit * (1 + 1e-9)) * power)


def number(value: float) -> str:
    """Return a number as people write it: three digits at most, no exponent up to millions."""
    if value == 0:
        return "0"
    digits = max(0, 2 - int(np.floor(np.log10(abs(value)))))
    text = f"{value:.{digits}f}"
    rounded = text.rstrip("0").rstrip(".") if "." in text else text
    if digits == 0 and abs(value) >= 1000:
        power = 10.0 ** (int(np.floor(np.log10(abs(value)))) - 2)
        rounded = f"{round(value / power) * power:.0f}"
    return rounded


def scale_bar(
    draw: ImageDraw.ImageDraw,
    *,
    right_px: float,
    middle_px: float,
    most_px: float,
    mm_per_px: float,
    size_px: float,
    colour: Colour,
) -> float:
    """Draw a bar of a round length with its length beside it; return its left end [px].

    It ends at `right_px`, stands at height `middle_px`, and is at most `most_px` long.
    """
    length_mm = round_number(most_px * mm_per_px)
    length_px = length_mm / mm_per_px
    left, tick = right_px - length_px, size_px * 0.3
    width = max(1, round(size_px / 12))
    draw.line([left, middle_px, right_px, middle_px], colour, width)
    for end in (left, right_px):
        draw.line([end, middle_px - tick, end, middle_px + tick], colour, width)
    words = f"{number(length_mm)} mm"
    start = left - size_px * 0.5 - text_width(words, size_px)
    draw.text((start, middle_px), words, colour, font(size_px), anchor="lm")
    return start
