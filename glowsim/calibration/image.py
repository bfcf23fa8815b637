"""Image files as a camera wrote them: codes of 8 or 16 bits, upright, with what EXIF says."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import ExifTags, Image

RAW = (".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw")
"""Endings of cameras' raw files."""
FILM_DIAGONAL_MM = 43.27
"""Of the frame of 36 x 24 mm that EXIF's equivalent focal length is about."""
_LOW_BYTE = {"RGB;16B": "RGB;16L", "RGB;16L": "RGB;16B", "RGB;16N": "RGB;16B"}
"""A reader that takes the other byte of each number than the one of its name (little-endian)."""


class UnreadableError(ValueError):
    """What is wrong with a reading, and under which key of its table."""

    def __init__(self, message: str, *at: str | int) -> None:
        """Keep the keys below the reading's own table."""
        super().__init__(message)
        self.at = at


@dataclass(frozen=True)
class Frame:
    """An image.

    codes : (h, w, 3) uint8 or uint16, upright;  full : the greatest code there is
    linear : whether codes are proportional to light already
    exposure_s, focal_px : what the file says, if it does
    """

    codes: np.ndarray
    full: int
    linear: bool
    exposure_s: float | None
    focal_px: float | None

    @property
    def size(self) -> tuple[int, int]:
        """Width and height."""
        return self.codes.shape[1], self.codes.shape[0]


def read_frame(path: Path) -> Frame:
    """Return an image file; raises UnreadableError for one that cannot be read."""
    if not path.exists():
        raise UnreadableError(f"{path.name}: there is no such file", "file")
    if path.suffix.lower() in RAW:
        return _raw_frame(path)
    try:
        with Image.open(path) as image:
            image.load()
            exif = image.getexif()
            codes, full = _codes(path, image)
            turn = exif.get(ExifTags.Base.Orientation, 1)
    except (OSError, ValueError, Image.DecompressionBombError) as problem:
        raise UnreadableError(f"{path.name}: not an image that can be read: {problem}") from None
    codes = _upright(codes, int(turn))
    more = exif.get_ifd(ExifTags.IFD.Exif)
    focal = _number(more.get(ExifTags.Base.FocalLengthIn35mmFilm))
    diagonal = float(np.hypot(*codes.shape[:2]))
    return Frame(
        codes,
        full,
        False,
        _number(more.get(ExifTags.Base.ExposureTime)),
        focal / FILM_DIAGONAL_MM * diagonal if focal else None,
    )


def _codes(path: Path, image: Image.Image) -> tuple[np.ndarray, int]:
    """Return the codes of an image, (h, w, 3), and the greatest one there is."""
    if image.mode in ("I", "F"):
        raise ValueError(f"pixels of kind {image.mode}; save it with 8 or 16 bits a channel")
    if image.mode.startswith("I;16"):
        grey = np.asarray(image).astype(np.uint16)
        return np.repeat(grey[:, :, None], 3, axis=2), 65535
    high = np.asarray(image.convert("RGB"))
    if image.mode != "RGB":
        return high, 255
    # The library gives the upper byte of 16 bits; read once more, it gives the lower one.
    with Image.open(path) as again:
        tiles: Any = again.tile
        first = tiles[0].args if tiles else None
        name = first if isinstance(first, str) else first[0] if first else ""
        if name not in _LOW_BYTE:
            return high, 255
        other = _LOW_BYTE[name]
        again.tile = [
            t._replace(args=other if isinstance(t.args, str) else (other, *t.args[1:]))
            for t in tiles
        ]
        low = np.asarray(again)
    return (high.astype(np.uint16) << 8) | low, 65535


def _upright(codes: np.ndarray, turn: int) -> np.ndarray:
    """Return the codes turned as EXIF's orientation 1 to 8 says."""
    flips = {
        2: codes[:, ::-1],
        3: codes[::-1, ::-1],
        4: codes[::-1],
        5: codes.swapaxes(0, 1),
        6: np.rot90(codes, -1),
        7: codes[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(codes),
    }
    return np.ascontiguousarray(flips.get(turn, codes))


def _number(value: Any) -> float | None:
    try:
        found = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return found if np.isfinite(found) and found > 0 else None


def _raw_frame(path: Path) -> Frame:
    """Return a raw file as its sensor saw it: linear, no colour matrix, no white balance."""
    try:
        import rawpy  # type: ignore[import-not-found, unused-ignore]
    except ImportError:
        raise UnreadableError(
            f"{path.name}: raw files need one more library: pip install 'glowsim[raw]'; or save "
            "it as a linear TIFF of 16 bits"
        ) from None
    try:
        with rawpy.imread(str(path)) as raw:
            codes = raw.postprocess(
                gamma=(1, 1),
                no_auto_bright=True,
                output_bps=16,
                user_wb=[1.0, 1.0, 1.0, 1.0],
                output_color=rawpy.ColorSpace.raw,
            )
    except rawpy.LibRawError as problem:
        raise UnreadableError(f"{path.name}: not a raw file that can be read: {problem}") from None
    return Frame(np.asarray(codes), 65535, True, None, None)
