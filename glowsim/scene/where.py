"""Where on a body: regions of its surface, by part, colour, height, ball, side, line or picture."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from glowsim.scene.fields import (
    AngleDeg,
    Direction,
    FineMm,
    Mm,
    Number,
    PointMm,
    PositiveMm,
    SizeMm,
    Strict,
    times,
)

_PLACED = {"width_mm", "height_mm", "seen_from", "middle_mm", "turned_deg", "sides"}
"""What puts a picture in its place on a body."""


class Picture(Strict):
    """A picture laid on a body as a stencil: what is black on it is a region of the surface.

    Its border runs where the picture is half black, half white, and faces are cut along it. What
    is transparent counts as white.
    """

    file: Annotated[str, Field(min_length=1, max_length=1000)]
    """A PNG, JPEG or other picture file, black on white; its path starts at the scene file."""
    width_mm: SizeMm | None = None
    """How wide the whole picture is, white rim and all; its height follows."""
    height_mm: SizeMm | None = None
    """Or how high it is; its width follows."""
    seen_from: Direction = (0.0, -1.0, 0.0)
    """From where it is laid on: who stands there sees it the right way round, z up (looking
    straight down or up, y up)."""
    middle_mm: PointMm | None = None
    """A point of the body's frame its middle lies on, seen from there; left out, the body's own
    middle."""
    turned_deg: AngleDeg = 0.0
    """How far it is turned about its middle, counter-clockwise as it is seen."""
    sides: Literal["facing", "both"] = "facing"
    """facing: only faces that look that way take it; both: those that look away as well, as if it
    went straight through."""
    covers: Literal["black", "white"] = "black"
    """Which of the two is the region."""
    by_texture: bool = False
    """Laid by the texture coordinates of the body's mesh file, as a modelling program does, in
    place of a size and a side."""
    edge_mm: FineMm | None = None
    """How finely its outline is followed: strokes thinner than this break up. Left out, a 150th
    of its longer side, or more where it has fewer pixels or a very long outline."""

    def scaled(self, factor: float) -> Picture:
        """Return it on a body of other size: its own size and place in proportion."""
        middle = self.middle_mm
        return self.model_copy(
            update={
                "width_mm": length_times(self.width_mm, factor),
                "height_mm": length_times(self.height_mm, factor),
                "middle_mm": None if middle is None else point_times(middle, factor),
            }
        )

    @model_validator(mode="after")
    def _has_a_size(self) -> Self:
        if self.by_texture:
            stray = self.model_fields_set & _PLACED
            if stray:
                raise ValueError(f"by_texture says where it lies: leave out {min(stray)}")
        elif (self.width_mm is None) == (self.height_mm is None):
            raise ValueError(
                "give width_mm or height_mm, one of the two: how large it is (or by_texture)"
            )
        return self


class Where(Strict):
    """A region of a body's surface: the faces for which everything given here holds."""

    part: str | None = None
    """A named part of a sketch shape, such as 'base', 'side' or 'tip', or an object, group or
    material of a mesh file."""
    colour: Annotated[str, Field(pattern="^#[0-9a-fA-F]{6}$")] | None = None
    """Faces painted in this colour in a mesh file, as "#ff0000". Where corners are painted, it ends
    between them and those of another colour, in an even line."""
    above_mm: Mm | None = None
    """Faces above this height (z in the body's frame)."""
    below_mm: Mm | None = None
    """Faces below this height."""
    centre_mm: PointMm | None = None
    """With `radius_mm`: faces within a ball."""
    radius_mm: PositiveMm | None = None
    """Of that ball."""
    facing: Direction | None = None
    """Faces whose normal lies within `facing_within_deg` of this direction."""
    facing_within_deg: Annotated[Number, Field(gt=0, le=180)] = 60.0
    """How far off that direction still counts."""
    line_mm: Annotated[tuple[PointMm, ...], Field(min_length=2, max_length=1000)] | None = None
    """Faces along a line through these points on the surface, as one that is engraved."""
    line_width_mm: PositiveMm = 1.0
    """How wide that line is."""
    picture: Picture | None = None
    """Faces under what is black on a picture that is laid on the body."""

    def scaled(self, factor: float) -> Where:
        """Return it on a body of other size about the body's origin; the width of a line stays, as
        that of the tool that draws it."""
        line, centre, picture = self.line_mm, self.centre_mm, self.picture
        lengths = ("above_mm", "below_mm", "radius_mm")
        update: dict[str, Any] = {key: length_times(getattr(self, key), factor) for key in lengths}
        update["centre_mm"] = None if centre is None else point_times(centre, factor)
        update["line_mm"] = line and tuple(point_times(point, factor) for point in line)
        update["picture"] = picture and picture.scaled(factor)
        return self.model_copy(update=update)

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if (self.centre_mm is None) != (self.radius_mm is None):
            raise ValueError("centre_mm and radius_mm go together: a ball needs both")
        if all(
            v is None
            for v in (
                self.part,
                self.colour,
                self.above_mm,
                self.below_mm,
                self.centre_mm,
                self.facing,
                self.line_mm,
                self.picture,
            )
        ):
            raise ValueError(
                "says nothing: give part, colour, above_mm, below_mm, centre_mm, facing, line_mm "
                "or picture"
            )
        return self


def length_times(length_mm: float | None, factor: float) -> float | None:
    """Return a length `times` a factor; nothing stays nothing."""
    return None if length_mm is None else times(length_mm, factor)


def point_times(point: tuple[float, float, float], factor: float) -> tuple[float, float, float]:
    """Return a point each of whose coordinates is `times` a factor."""
    x, y, z = (times(c, factor) for c in point)
    return x, y, z
