"""The readings file: what was measured on a test piece, with what, and how well."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.errors import ReadingsError
from glowsim.scene.fields import Direction, Mm, Name, Number, PointMm, PositiveMm, Strict
from glowsim.tomlfile import KeyPath, TomlText, parse_toml, read_toml, validate

Band = Literal["red", "green", "blue"]
Reading = Annotated[Number, Field(gt=0, le=1e9)]
Readings = tuple[Reading, ...]
Doubt = Annotated[Number, Field(gt=0, le=0.5)]
"""One standard deviation, as a share of the value."""
SceneName = Annotated[str, Field(min_length=1, max_length=1000)]

LEAST_PROFILE = 5
"""Values that a stretch of surface must have to show a slope and its bend."""
CLIPPED = 3
"""So many brightest values that are exactly equal are a camera at its end, not light."""


def _fault(message: str, *at: str | int) -> PydanticCustomError:
    return PydanticCustomError("reading", "{message}", {"message": message, "at": at})


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
    bare_error: Doubt = 0.08

    @model_validator(mode="after")
    def _light_falls(self) -> Self:
        if len(self.thickness_mm) != len(self.reading):
            raise _fault(
                f"{len(self.reading)} readings for {len(self.thickness_mm)} thicknesses; "
                "every pile needs one",
                "reading",
            )
        if self.bare is None and len(self.reading) < 2:
            raise _fault(
                "one pile alone says nothing: read a second one, or the bare hole as well",
                "reading",
            )
        steps = enumerate(pairwise(zip(self.thickness_mm, self.reading, strict=True)), start=1)
        for k, ((thin, more), (thick, less)) in steps:
            if thick <= thin:
                raise _fault(
                    f"{thick:g} mm does not come after {thin:g} mm; write piles from thin to thick",
                    *("thickness_mm", k),
                )
            if less >= more:
                raise _fault(
                    f"the meter read {less:g} through {thick:g} mm but {more:g} through {thin:g} "
                    "mm; a thicker pile lets less through: were two readings swapped, or was light "
                    "coming in from the side?",
                    *("reading", k),
                )
        if self.bare is not None and self.bare <= self.reading[0]:
            raise _fault(
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
            raise _fault(
                f"{len(self.paper)} values of the paper for {len(self.piece)} of the piece; "
                "each photo gives one of both",
                "paper",
            )
        if self.reflectance >= 0.99:
            raise _fault(
                f"the piece would send back {100 * self.reflectance:.0f} % of the light, which no "
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


class Photo(Strict):
    """Brightness along a straight stretch of a lit test piece, in linear values of any unit."""

    scene: SceneName
    """The test piece as a scene file, beside this file."""
    body: Name | None = None
    """Which body of the scene; the only one if left out."""
    band: Band
    from_mm: PointMm
    to_mm: PointMm
    """Ends of the stretch on the surface, in the body's frame; values are even steps between."""
    toward: Direction
    """From the piece to the camera."""
    values: Annotated[Readings, Field(min_length=LEAST_PROFILE, max_length=500)]
    reading_error: Doubt = 0.04
    response_error: Doubt = 0.05
    """Of the exponent of the camera's response; 0.01 once it was measured at several levels."""
    vignetting: Doubt = 0.1
    shift_mm: Annotated[Mm, Field(gt=0, le=20)] = 1.0

    @model_validator(mode="after")
    def _neither_clipped_nor_short(self) -> Self:
        if (alike := self.values.count(max(self.values))) >= CLIPPED:
            raise _fault(
                f"the {alike} brightest values are all {max(self.values):g}: the camera was at its "
                "end; take the photo again with a shorter exposure, or leave these places out",
                "values",
            )
        if max(abs(a - b) for a, b in zip(self.from_mm, self.to_mm, strict=True)) < 5.0:
            raise _fault("lies within 5 mm of from_mm; a slope needs a longer stretch", "to_mm")
        return self


class Lux(Strict):
    """A light meter pressed on the surface of a lit test piece at several places, dark room."""

    scene: SceneName
    body: Name | None = None
    band: Band
    at_mm: Annotated[tuple[PointMm, ...], Field(min_length=2, max_length=100)]
    """Places on the surface, in the body's frame. Only ratios between them count."""
    reading: Annotated[Readings, Field(min_length=2, max_length=100)]
    head_diameter_mm: PositiveMm = 10.0
    reading_error: Doubt = 0.05

    @model_validator(mode="after")
    def _one_reading_each(self) -> Self:
        if len(self.at_mm) != len(self.reading):
            raise _fault(
                f"{len(self.reading)} readings for {len(self.at_mm)} places; every place needs one",
                "reading",
            )
        return self


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

    @model_validator(mode="after")
    def _something_was_read(self) -> Self:
        if not (self.piles or self.cards or self.photos or self.lux):
            raise _fault("no readings: add [[piles]], [[cards]], [[photos]] or [[lux]]")
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
