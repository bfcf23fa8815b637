"""A body of the prop: its shape, what it is made of, what is set into it and its lights."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.scene.fields import (
    AnglesDeg,
    Count,
    Direction,
    FineMm,
    Mm,
    Name,
    Number,
    PointMm,
    PositiveMm,
    Share,
    Strict,
    Unit,
)
from glowsim.scene.patterns import Pattern
from glowsim.scene.placing import Placing
from glowsim.scene.shapes import Shape
from glowsim.scene.wanted import Wanted


class MeshFile(Strict):
    """A mesh from a file: STL, OBJ, PLY, GLB or 3MF. A relative path starts at the scene file."""

    file: Annotated[str, Field(min_length=1, max_length=1000)]
    units: Unit | None = None
    """Unit of the numbers in the file; when left out, 3MF and GLB say it themselves, and for
    the other formats mm is assumed and a note printed."""
    scale: Annotated[Number, Field(gt=0, le=1e6)] = 1.0
    """About the origin of the file."""
    grow_mm: Annotated[Mm, Field(ge=0, le=1000)] = 0.0
    """A layer of this thickness put on all over the surface, after scaling."""
    keep: Literal["all", "largest"] = "all"
    """Which of several separate parts to keep."""


class Where(Strict):
    """A region of a body's surface: the faces for which everything given here holds."""

    part: str | None = None
    """A named part of a sketch shape, such as 'base', 'side' or 'tip'."""
    above_mm: Mm | None = None
    """Faces above this height (z in the body's frame)."""
    below_mm: Mm | None = None
    """Faces below this height."""
    centre_mm: PointMm | None = None
    """With `radius_mm`: faces within a ball."""
    radius_mm: PositiveMm | None = None
    facing: Direction | None = None
    """Faces whose normal lies within `facing_within_deg` of this direction."""
    facing_within_deg: Annotated[Number, Field(gt=0, le=180)] = 60.0

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if (self.centre_mm is None) != (self.radius_mm is None):
            raise ValueError("centre_mm and radius_mm go together: a ball needs both")
        if all(
            v is None
            for v in (self.part, self.above_mm, self.below_mm, self.centre_mm, self.facing)
        ):
            raise ValueError("says nothing: give part, above_mm, below_mm, centre_mm or facing")
        return self


class Insert(Strict):
    """Something set into a body. Where inserts overlap, the later one in the file wins.

    pocket: air, open to the outside where it reaches through the surface;
    core:   opaque, with a surface from the catalogue of coats (a dowel, a pipe);
    sleeve: another volume material (a plug, a diffuser tube).
    """

    name: Name | None = None
    kind: Literal["pocket", "core", "sleeve"]
    shape: Shape | None = None
    mesh: MeshFile | None = None
    position_mm: PointMm = (0.0, 0.0, 0.0)
    rotation_deg: AnglesDeg = (0.0, 0.0, 0.0)
    material: str | None = None
    coat: str | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        _one_source(self.shape, self.mesh)
        if (self.material is not None) != (self.kind == "sleeve"):
            raise ValueError("material belongs to a sleeve, and a sleeve needs one")
        if (self.coat is not None) != (self.kind == "core"):
            raise ValueError("coat belongs to a core, and a core needs one (its surface)")
        return self


class Mask(Strict):
    """Paint, tape or cloth over part of a body's outer faces."""

    name: Name | None = None
    coat: str
    where: Where


class Drive(Strict):
    """How far each colour is turned up: 1 is full, as a share of light, not of control code."""

    red: Share = 1.0
    green: Share = 1.0
    blue: Share = 1.0
    white: Share = 1.0
    """For boards with a single white channel."""


COPY_MARK = "{copy}"
"""In the name of a zone: the number of the copy, from 1."""


class Light(Strict):
    """A light board inside a body, in the body's own frame."""

    name: Name | None = None
    board: str
    position_mm: PointMm
    direction: Direction = (0.0, 0.0, 1.0)
    """Where the board faces."""
    along: Direction | None = None
    """Where a strip runs, or how a board is turned about its direction."""
    led_count: Count | None = None
    """LEDs used of a strip."""
    drive: Drive = Drive()
    channel_current_ma: Annotated[Number, Field(gt=0, le=5000)] | None = None
    """Measured current per channel and LED; brightness follows it in proportion."""
    zone: Name = "all"
    """What is switched and moved as one. '{copy}' in it stands for the number of the copy, so that
    every copy of a pattern has a zone of its own."""
    zones: tuple[Name, ...] = ()
    """In place of `zone`: one zone for each copy of the pattern, in their order."""
    separate_leds: bool = False
    """Treat each LED as a light of its own, so that findings and pulses can tell them apart."""

    def zone_of(self, copy: int) -> str:
        """Return the zone of this light in a copy of its body, counted from 0."""
        return self.zones[copy] if self.zones else self.zone.replace(COPY_MARK, str(copy + 1))


class Body(Strict):
    """One closed piece of the prop, or a pattern of copies of it."""

    name: Name
    shape: Shape | None = None
    mesh: MeshFile | None = None
    material: str
    """A volume material, or a coat: a coat makes a hollow lantern of thin sheet, or, when it
    lets no light through, a piece that is only seen."""
    made: Literal["carved", "printed", "cast", "laminated"] | None = None
    """How it is made, for the build sheet; left out, as its material usually is."""
    wall_mm: FineMm | None = None
    """Wall of a hollow shell; left out, the body is solid."""
    position_mm: PointMm = (0.0, 0.0, 0.0)
    rotation_deg: AnglesDeg = (0.0, 0.0, 0.0)
    inserts: tuple[Insert, ...] = ()
    masks: tuple[Mask, ...] = ()
    lights: tuple[Light, ...] = ()
    patterns: tuple[Pattern, ...] = ()
    glow_where: Where | None = None
    """Which outer faces are meant to glow; left out, all that are not masked."""
    dark_where: Where | None = None
    """Which outer faces must stay dark, as an eye of a mask or the wearer's side."""
    wanted: Wanted = None
    """The look that is wanted, which all verdicts go by: "even", or a fade along the body such as
    { fade = "up", to = 0.33 }: bright at the foot and a third of that at the tip."""
    placing: Placing | None = None
    """Where the commands that place boards may put them."""
    detail_mm: FineMm | None = None
    """Edge of the result surface's faces; chosen from wall, depth and spacing if left out."""
    cell_mm: FineMm | None = None
    """Edge of the solver's grid cells; chosen from wall, depth and the cell budget if left out."""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        _one_source(self.shape, self.mesh)
        return self

    @model_validator(mode="after")
    def _zones_for_all_copies(self) -> Self:
        for number, light in enumerate(self.lights):
            if light.zones and len(light.zones) != self.copy_count:
                raise PydanticCustomError(
                    "zones",
                    "{found} zones for {copies} copies; give one for each copy, in their order",
                    {
                        "found": len(light.zones),
                        "copies": self.copy_count,
                        "at": ("lights", number, "zones"),
                    },
                )
        return self

    @property
    def copy_count(self) -> int:
        """How many copies of it stand in the prop."""
        return sum(pattern.copy_count for pattern in self.patterns) if self.patterns else 1


def _one_source(shape: object, mesh: object) -> None:
    if (shape is None) == (mesh is None):
        raise ValueError("give either shape or mesh, one of the two")
