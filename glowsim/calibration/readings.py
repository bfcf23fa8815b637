"""The readings file: what was measured on a test piece, with what, and how well."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import Field, model_validator

from glowsim.calibration.fields import Band, Doubt, Reading, Readings, fault
from glowsim.calibration.lit import Levels, Lux, Photo
from glowsim.errors import ReadingsError
from glowsim.scene.fields import Mm, Name, Number, PositiveMm, Strict
from glowsim.tomlfile import KeyPath, TomlText, parse_toml, read_toml, validate


class Piles(Strict):
    """A light meter on the middle of piles over a round hole at the end of a black tube."""

    band: Band
    hole_diameter_mm: PositiveMm
    thickness_mm: Annotated[tuple[PositiveMm, ...], Field(min_length=1, max_length=50)]
    """Height of each pile, from thin to thick."""
    reading: Annotated[Readings, Field(min_length=1, max_length=50)]
    bare: Reading | None = None
    """Reading of the hole with nothing on it; without it only ratios are known."""
    reading_error: Doubt = 0.03
    thickness_error: Doubt = 0.03
    """Of each pile's height, and 1.3 times that of all together, where heights are those of the
    sheets added up."""
    height_error_mm: Annotated[Mm, Field(gt=0, le=20)] | None = None
    """What a height may be off by where every pile was measured by itself, as it lay: 0.5 with a
    ruler, 0.05 with callipers. In place of thickness_error; it tells most of how far light
    reaches."""
    bare_error: Doubt = 0.08

    @model_validator(mode="after")
    def _light_falls(self) -> Self:
        if len(self.thickness_mm) != len(self.reading):
            raise fault(
                f"{len(self.reading)} readings for {len(self.thickness_mm)} thicknesses; "
                "every pile needs one",
                "reading",
            )
        if self.bare is None and len(self.reading) < 2:
            raise fault(
                "one pile alone says nothing: read a second one, or the bare hole as well",
                "reading",
            )
        steps = enumerate(pairwise(zip(self.thickness_mm, self.reading, strict=True)), start=1)
        for k, ((thin, more), (thick, less)) in steps:
            if thick <= thin:
                raise fault(
                    f"{thick:g} mm does not come after {thin:g} mm; write piles from thin to thick",
                    *("thickness_mm", k),
                )
            if less >= more:
                raise fault(
                    f"the meter read {less:g} through {thick:g} mm but {more:g} through {thin:g} "
                    "mm; a thicker pile lets less through: were two readings swapped, or was light "
                    "coming in from the side?",
                    *("reading", k),
                )
        if self.bare is not None and self.bare <= self.reading[0]:
            raise fault(
                f"the bare hole read {self.bare:g}, and {self.reading[0]:g} with a pile on it; "
                "a pile adds no light: read the bare hole again",
                "bare",
            )
        return self


class Card(Strict):
    """A thick piece on black beside white paper, photographed straight on in even room light."""

    band: Band
    thickness_mm: PositiveMm
    piece: Annotated[Readings, Field(min_length=1, max_length=10)]
    """Linear values of the piece: one, or one for each place when the two were swapped."""
    paper: Annotated[Readings, Field(min_length=1, max_length=10)]
    paper_reflectance: Annotated[Number, Field(gt=0.2, le=1)] = 0.85
    paper_error: Doubt = 0.06
    reading_error: Doubt = 0.03

    @model_validator(mode="after")
    def _darker_than_all_light(self) -> Self:
        if len(self.piece) != len(self.paper):
            raise fault(
                f"{len(self.paper)} values of the paper for {len(self.piece)} of the piece; "
                "each photo gives one of both",
                "paper",
            )
        if self.reflectance >= 0.99:
            raise fault(
                f"the piece would reflect {100 * self.reflectance:.0f} % of the light, which no "
                "piece does: were piece and paper swapped, or is the photo clipped?",
                "piece",
            )
        return self

    @property
    def reflectance(self) -> float:
        """Reflectance of the piece, by the mean ratio to the paper (geometric)."""
        product = 1.0
        for piece, paper in zip(self.piece, self.paper, strict=True):
            product *= piece / paper
        return float(self.paper_reflectance * product ** (1.0 / len(self.piece)))


class Bench(Strict):
    """Everything read on the bench about one material."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
    """Name of the new entry, as scenes will call it."""
    label: Name | None = None
    material: str
    """The catalogue's entry it is most like: what is believed before any reading."""
    date: datetime.date
    by: str = ""
    """Who read, with what."""
    made: bool = False
    """Whether the readings were computed, not measured."""
    piles: tuple[Piles, ...] = ()
    cards: tuple[Card, ...] = ()
    photos: tuple[Photo, ...] = ()
    lux: tuple[Lux, ...] = ()
    levels: tuple[Levels, ...] = ()
    """The camera's response, measured; it holds for all photos."""

    @model_validator(mode="after")
    def _something_was_read(self) -> Self:
        if not (self.piles or self.cards or self.photos or self.lux):
            raise fault("no readings: add [[piles]], [[cards]], [[photos]] or [[lux]]")
        return self


@dataclass(frozen=True)
class ReadingsFile:
    """Readings together with the text they came from."""

    bench: Bench
    toml: TomlText
    folder: Path
    """Paths of scenes start here."""

    def fault(self, key_path: KeyPath, message: str) -> ReadingsError:
        """Return an error that names the place of `key_path` in the file."""
        return ReadingsError(f"{self.toml.where(key_path)}: {message}")


def read_readings(path: str | os.PathLike[str]) -> ReadingsFile:
    """Read and validate a readings file; raises ReadingsError naming every fault with its line."""
    file = Path(path)
    toml = read_toml(file, ReadingsError)
    return ReadingsFile(validate(Bench, toml, ReadingsError), toml, file.resolve().parent)


def parse_readings(text: str, folder: Path, name: str = "readings") -> ReadingsFile:
    """Validate readings given as text; raises ReadingsError naming every fault with its line."""
    toml = parse_toml(text, name, ReadingsError)
    return ReadingsFile(validate(Bench, toml, ReadingsError), toml, folder)


def readings_schema() -> dict[str, Any]:
    """Return the JSON Schema of a readings file."""
    return Bench.model_json_schema()
