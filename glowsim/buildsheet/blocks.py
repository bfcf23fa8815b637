"""What a build sheet is made of, whether it ends on paper or in a browser."""

from __future__ import annotations

import io
from dataclasses import dataclass

from PIL import Image

from glowsim.buildsheet.drawing import Drawing

JPEG_QUALITY = 88


@dataclass(frozen=True)
class Para:
    """A paragraph. `strong` ones must not be overlooked."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Items:
    """A list; `ticks` puts a box to tick before each item."""

    items: tuple[str, ...]
    ticks: bool = False


@dataclass(frozen=True)
class Grid:
    """A table: headings, rows of text, and how wide columns are beside each other."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    title: str = ""


@dataclass(frozen=True)
class Shown:
    """A picture with a line below it."""

    picture: Image.Image
    caption: str

    def jpeg(self) -> bytes:
        """Return the picture as a JPEG file."""
        data = io.BytesIO()
        self.picture.convert("RGB").save(data, "JPEG", quality=JPEG_QUALITY)
        return data.getvalue()


@dataclass(frozen=True)
class Drawn:
    """A drawing that need not be at full size, with a line below it."""

    drawing: Drawing
    caption: str


TEMPLATE_KEY = (
    "Orange: board, LEDs.  Dashed: pocket, bore, what is set in.  Dotted: dished foot.  "
    "Up: LED face above the base.  Out: from the axis."
)


@dataclass(frozen=True)
class FullSize:
    """The views of one body at full size; `key` says at the foot what its lines mean."""

    title: str
    drawings: tuple[Drawing, ...]
    key: str = TEMPLATE_KEY


Block = Para | Items | Grid | Shown | Drawn | FullSize


@dataclass(frozen=True)
class Section:
    """A heading with what stands below it."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class BuildSheet:
    """A whole sheet."""

    title: str
    sections: tuple[Section, ...]
    kind: str = "Build sheet"
