"""Tables of a readings file that are about a lit test piece: photo, light meter, drive levels."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glowsim.calibration.fields import (
    CLIPPED,
    LEAST_PROFILE,
    Band,
    Doubt,
    FileName,
    Reading,
    Readings,
    fault,
)
from glowsim.scene.fields import Direction, Mm, Name, Number, PointMm, PositiveMm, Strict

_Pixel = Annotated[Number, Field(ge=-1e5, le=1e5)]
LEAST_LEVELS = 3
LEAST_PATCHES = 3


class Shot(Strict):
    """One exposure of a view: an image file."""

    file: FileName
    """PNG, JPEG or TIFF of 8 or 16 bit, or a camera's raw file."""
    exposure_s: Annotated[Number, Field(gt=0, le=3600)] | None = None
    """Shutter time; the one the file itself names, if left out."""


class Mark(Strict):
    """A point of the body that was found in the image."""

    pixel: tuple[_Pixel, _Pixel]
    """Column and row from the upper left corner of the image as a viewer shows it, upright."""
    at_mm: PointMm
    """The same point in the body's frame."""


class MarksCard(Strict):
    """The printed marks card of the bench sheet, lying flat; its marks are found by themselves."""

    file: FileName | None = None
    """An image of the same view in room light, with the whole card in it; the first of the photo's
    images if left out."""
    at_mm: PointMm = (0.0, 0.0, 0.0)
    """Where the cross in the middle of the card lies, in the body's frame, whose x and y run as
    the numbers beside the marks say."""
    bar_mm: Annotated[Mm, Field(ge=50, le=200)] = 100.0
    """What the printed bar of 100 mm measures on paper."""


class Photo(Strict):
    """Brightness along a straight stretch of a lit test piece, or of patches of its surface: linear
    values of any unit, or images of one view to read them from."""

    scene: FileName
    """The test piece as a scene file, beside this file."""
    body: Name | None = None
    """Which body of the scene; the only one if left out."""
    band: Band
    from_mm: PointMm | None = None
    to_mm: PointMm | None = None
    """Ends of the stretch on the surface, in the body's frame; values are even steps between."""
    patches_mm: Annotated[tuple[PointMm, ...], Field(max_length=100)] = ()
    """Middles of round patches on the surface, in place of a stretch; three or more, with
    values one each."""
    toward: Direction
    """From the piece to the camera; with images a rough one will do, points find the rest."""
    values: Annotated[Readings, Field(min_length=LEAST_PROFILE, max_length=500)] | None = None
    images: Annotated[tuple[Shot, ...], Field(max_length=12)] = ()
    """Exposures of one view, camera and light unmoved, from a short to a long shutter or back."""
    dark: Shot | None = None
    """The same view with the LED off, to take stray light away."""
    points: Annotated[tuple[Mark, ...], Field(max_length=6)] = ()
    """Two to six points of the body in the image: tip, edges of the base, a mark half way up."""
    card: MarksCard | None = None
    """The marks card below the piece, in place of points."""
    response: Literal["srgb", "linear", "brackets"] = "srgb"
    """What a pixel's value says of light: the standard curve of JPEG and PNG, raw, or found from
    three exposures or more."""
    width_mm: Annotated[Mm, Field(gt=0, le=200)] = 5.0
    """Breadth of the strip that is read, or diameter of the patches."""
    click_px: Annotated[Number, Field(gt=0, le=200)] | None = None
    """What a point may be off by, in pixels; 1.5 in a thousand of the diagonal if left out."""
    distance_mm: PositiveMm | None = None
    """From camera to piece, to a tenth; about 600 if left out."""
    focal_px: Annotated[Number, Field(gt=10, le=1e6)] | None = None
    """Focal length in pixels; the one the file itself names, or any, if left out."""
    reading_error: Doubt = 0.04
    response_error: Doubt = 0.05
    """Of the exponent of the camera's response; measured where there is a [[levels]] table."""
    vignetting: Doubt = 0.1
    shift_mm: Annotated[Mm, Field(gt=0, le=20)] = 1.0

    @model_validator(mode="after")
    def _values_or_images(self) -> Self:
        if self.values is None and not self.images:
            raise fault("needs 'values', or 'images' and 'points' to read them from", "values")
        if self.values is not None and self.images:
            raise fault("give either values or images, not both", "values")
        if self.card and (self.points or not self.images):
            raise fault("goes with images, and in place of points", "card")
        if self.images and not self.card and len(self.points) < 2:
            raise fault(
                f"{len(self.points)} points; two to six tell where the body is in the image, or a "
                "marks card below it (card)",
                "points",
            )
        if self.response == "brackets" and len(self.images) < 3:
            raise fault("the response needs three exposures or more of one view", "response")
        return self

    @model_validator(mode="after")
    def _stretch_or_patches(self) -> Self:
        if self.patches_mm:
            if self.from_mm or self.to_mm:
                raise fault("give either a stretch (from_mm, to_mm) or patches", "patches_mm")
            if len(self.patches_mm) < LEAST_PATCHES:
                raise fault(
                    f"{len(self.patches_mm)} patches; {LEAST_PATCHES} or more tell how light falls",
                    "patches_mm",
                )
            if self.values is not None and len(self.values) != len(self.patches_mm):
                raise fault(
                    f"{len(self.values)} values for {len(self.patches_mm)} patches; each needs one",
                    "values",
                )
            return self
        if self.from_mm is None or self.to_mm is None:
            raise fault("needs from_mm and to_mm, the ends of a stretch, or patches_mm", "from_mm")
        if max(abs(a - b) for a, b in zip(self.from_mm, self.to_mm, strict=True)) < 5.0:
            raise fault("lies within 5 mm of from_mm; a slope needs a longer stretch", "to_mm")
        return self

    @model_validator(mode="after")
    def _not_clipped(self) -> Self:
        if self.values is not None and (alike := self.values.count(max(self.values))) >= CLIPPED:
            raise fault(
                f"the {alike} brightest values are all {max(self.values):g}: the camera "
                "clipped; take the photo again with a shorter exposure, or leave these places out",
                "values",
            )
        return self


class Lux(Strict):
    """A light meter at several places about a lit test piece, dark room: pressed on its surface,
    or free in the air where `facing` says which way its head looks."""

    scene: FileName
    body: Name | None = None
    band: Band
    at_mm: Annotated[tuple[PointMm, ...], Field(min_length=1, max_length=100)]
    """Places of the head, in the body's frame."""
    reading: Annotated[Readings, Field(min_length=1, max_length=100)]
    facing: Annotated[tuple[Direction, ...], Field(max_length=100)] = ()
    """Which way the head looks at each place, for a meter in the air."""
    absolute: bool = False
    """Whether the readings themselves count and not only their ratios; then the LEDs' bin and the
    meter's error in this colour do as well."""
    colour_error: Doubt = 0.2
    """What the meter may be off in one colour alone."""
    head_diameter_mm: PositiveMm = 10.0
    reading_error: Doubt = 0.05
    shift_mm: Annotated[Mm, Field(gt=0, le=20)] = 1.0
    """What the head may be off its place, each time by itself."""

    @model_validator(mode="after")
    def _one_reading_each(self) -> Self:
        if len(self.at_mm) != len(self.reading):
            raise fault(
                f"{len(self.reading)} readings for {len(self.at_mm)} places; every place needs one",
                "reading",
            )
        if self.facing and len(self.facing) != len(self.at_mm):
            raise fault(
                f"{len(self.facing)} directions for {len(self.at_mm)} places; one for each",
                "facing",
            )
        if len(self.reading) < 2 and not self.absolute:
            raise fault(
                "one reading has nothing to be compared with: read a second place, or say "
                "absolute = true",
                "reading",
            )
        return self


class Levels(Strict):
    """One patch of one view at several drive levels of the LEDs: the camera's response."""

    level: Annotated[tuple[Reading, ...], Field(min_length=LEAST_LEVELS, max_length=50)]
    """Light, in any unit: 255, 128, 64, 32 where the controller dims by pulses, gamma off."""
    value: Annotated[Readings, Field(min_length=LEAST_LEVELS, max_length=50)]
    """The camera's value of the patch, linear or taken as such, dark frame subtracted."""
    reading_error: Doubt = 0.01

    @model_validator(mode="after")
    def _more_light_more_signal(self) -> Self:
        if len(self.level) != len(self.value):
            raise fault(
                f"{len(self.value)} values for {len(self.level)} levels; every level needs one",
                "value",
            )
        rising = sorted(zip(self.level, self.value, strict=True))
        for (low, less), (high, more) in pairwise(rising):
            if low == high or more <= less:
                raise fault(
                    f"level {high:g} gave {more:g} and level {low:g} gave {less:g}; more light "
                    "must give a greater value: was a frame clipped, or the order lost?",
                    "value",
                )
        return self
