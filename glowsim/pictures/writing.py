"""Where pictures are written: which formats there are, and errors in the user's words."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from PIL import Image

from glowsim.errors import PictureError, did_you_mean
from glowsim.files import write_whole

STILL_FORMATS = (".png", ".webp", ".jpg", ".jpeg", ".tif", ".tiff")
PNG_EFFORT = 4
"""Half the time of the usual 6 for files a sixth larger, the points are the same."""
WEBP_QUALITY = 85
JPEG_QUALITY = 92


def checked_format(path: Path, known: Iterable[str]) -> str:
    """Return the ending of `path` in small letters; raise PictureError if it is not `known`."""
    ending = path.suffix.lower()
    if ending not in known:
        said = f"the ending '{ending}'" if ending else "a name without an ending"
        raise PictureError(f"{path}: {said} tells no format{did_you_mean(ending, known)}")
    return ending


def write_file(path: Path, content: bytes | Callable[[Path], None]) -> None:
    """Write `path` whole or not at all; raise PictureError, in plain words, if it cannot be."""
    try:
        write_whole(path, content)
    except OSError as problem:
        raise PictureError(f"{path}: cannot be written: {problem.strerror or problem}") from None


def save_picture(picture: Image.Image, path: str | os.PathLike[str]) -> None:
    """Write a picture whole or not at all; its ending tells the format.

    Raises PictureError for an unknown format or a place that cannot be written.
    """
    target = Path(path)
    ending = checked_format(target, STILL_FORMATS)
    options: dict[str, dict[str, Any]] = {
        ".png": {"compress_level": PNG_EFFORT},
        ".webp": {"quality": WEBP_QUALITY},
        ".jpg": {"quality": JPEG_QUALITY},
        ".jpeg": {"quality": JPEG_QUALITY},
    }
    write_file(target, lambda part: picture.save(part, **options.get(ending, {})))
