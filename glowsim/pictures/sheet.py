"""Pictures side by side with a label under each: for comparing variants at one exposure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from PIL import Image, ImageDraw

from glowsim.errors import PictureError
from glowsim.pictures.camera import MOST_PX, Camera, Size, checked_size
from glowsim.pictures.inks import NIGHT, NIGHT_FAINT, NIGHT_INK
from glowsim.pictures.photo import Studio
from glowsim.pictures.text import font, number, shortened
from glowsim.pictures.tone import checked_exposure, developed

SHEET_SIZE: Size = (640, 480)
"""Of one picture on a sheet."""
GLARING = 2.5
"""How many times brighter than the middle one a picture may be before it is overexposed."""


def compared(
    studios: Iterable[Studio],
    labels: Sequence[str],
    size: Size = SHEET_SIZE,
    *,
    exposure_cd_m2: float | None = None,
    camera: Camera | None = None,
    columns: int | None = None,
) -> Image.Image:
    """Return photographs of several glows on one sheet, all at one exposure.

    studios        : taken one by one: those that are made on the way need not all be kept
    exposure_cd_m2 : left out, the greatest of what would suit each alone, so that none is
                     overexposed; but a bare LED in one of them must not darken all others, so at
                     most GLARING times the middle one
    camera         : one for all, of the pictures' size, so that sizes compare; left out, each prop
                     is framed for itself.
    Raises PictureError as `contact_sheet` does.
    """
    checked_size(size)
    suits, seen, fed = [], [], set()
    for studio in studios:
        suits.append(studio.exposure_cd_m2)
        fed.add(studio.glow.supply)
        seen.append(studio.luminance(camera or studio.camera(size)))
    if not seen:
        raise PictureError("a sheet needs at least one picture")
    fitting = min(max(suits), GLARING * float(np.median(suits)))
    exposure = checked_exposure(fitting if exposure_cd_m2 is None else exposure_cd_m2)
    pictures = [Image.fromarray(developed(luminance, exposure)) for luminance in seen]
    note = f"All at one exposure: white = {number(exposure)} cd/m²"
    note += "".join(f"   {supply}" for supply in sorted(fed) if supply)
    return contact_sheet(pictures, labels, columns=columns, note=note)


def contact_sheet(
    pictures: Sequence[Image.Image],
    labels: Sequence[str],
    *,
    columns: int | None = None,
    note: str = "",
) -> Image.Image:
    """Return pictures in rows with their labels; a note stands at the foot.

    Rows are filled from the left; without `columns` the sheet is about as wide as it is high.
    Raises PictureError if there is nothing to show, if labels and pictures do not match, or if
    the sheet would grow too large.
    """
    if not pictures or len(pictures) != len(labels):
        raise PictureError(
            f"a sheet needs as many labels as pictures, and at least one: got {len(labels)} "
            f"labels for {len(pictures)} pictures"
        )
    columns = min(columns or int(np.ceil(np.sqrt(len(pictures)))), len(pictures))
    rows = -(-len(pictures) // columns)
    width = max(picture.width for picture in pictures)
    height = max(picture.height for picture in pictures)
    text_px = max(11.0, height / 24)
    gap, line = round(text_px * 0.6), round(text_px * 1.8)
    foot = line if note else 0
    size = (columns * (width + gap) + gap, rows * (height + line) + gap + foot)
    if max(size) > MOST_PX:
        raise PictureError(
            f"a sheet of {len(pictures)} pictures would be {size[0]} x {size[1]} pixels; at most "
            f"{MOST_PX} each way: make the pictures smaller"
        )
    page = Image.new("RGB", size, NIGHT)
    draw = ImageDraw.Draw(page)
    for k, (picture, label) in enumerate(zip(pictures, labels, strict=True)):
        left = gap + k % columns * (width + gap)
        top = gap + k // columns * (height + line)
        page.paste(picture, (left, top))
        words = shortened(label, text_px, width)
        draw.text((left, top + height + line / 2), words, NIGHT_INK, font(text_px), anchor="lm")
    if note:
        place = (gap, size[1] - foot / 2 - gap / 2)
        draw.text(place, note, NIGHT_FAINT, font(text_px * 0.8), anchor="lm")
    return page
