"""A body of the prop: its shape, what it is made of, what is set into it and its lights."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.scene.fields import (
    AngleDeg,
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
    """Its path, from the scene file."""
    units: Unit | None = None
    """Unit of the numbers in the file; when left out, 3MF and GLB say it themselves, and for
    the other formats mm is assumed and a note printed."""
    scale: Annotated[Number, Field(gt=0, le=1e6)] = 1.0
    """About the origin of the file."""
    grow_mm: Annotated[Mm, Field(ge=0, le=1000)] = 0.0
    """A layer of this thickness put on all over the surface, after scaling."""
    part: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    """Take only the object, group or material of this name in the file, so that several bodies
    of the scene come from one file."""
    up: Literal["y", "z"] | None = None
    """Which way is up in the file; left out, y for GLB, as its standard has it, else z. What has y
    up is turned so that its z is up."""
    keep: Literal["all", "largest"] = "all"
    """Which of several separate parts to keep."""
    wall_grows: Literal["inward", "outward"] = "inward"
    """Where `wall_mm` goes on a file that is one open skin without thickness, as a scan of a face
    or a vase from a sculpting program: inward from it, or outward."""


class Where(Strict):
    """A region of a body's surface: the faces for which everything given here holds."""

    part: str | None = None
    """A named part of a sketch shape, such as 'base', 'side' or 'tip', or an object, group or
    material of a mesh file."""
    colour: Annotated[str, Field(pattern="^#[0-9a-fA-F]{6}$")] | None = None
    """Faces painted in this colour in a mesh file (vertex or face colours), as "#ff0000"."""
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
            )
        ):
            raise ValueError(
                "says nothing: give part, colour, above_mm, below_mm, centre_mm or facing"
            )
        return self


class Insert(Strict):
    """Something set into a body. Where inserts overlap, the later one in the file wins.

    pocket: air, open to the outside where it reaches through the surface;
    core:   opaque, with a surface from the catalogue of coats (a dowel, a pipe);
    sleeve: another volume material (a plug, a diffuser tube).
    """

    name: Name | None = None
    """As findings and the sheet call it."""
    kind: Literal["pocket", "core", "sleeve"]
    """A pocket of air, an opaque core, or a sleeve of another material."""
    shape: Shape | None = None
    """A sketch shape, in a frame of its own."""
    mesh: MeshFile | None = None
    """Or a mesh file."""
    position_mm: PointMm = (0.0, 0.0, 0.0)
    """Where its own origin stands, in the body's frame."""
    rotation_deg: AnglesDeg = (0.0, 0.0, 0.0)
    """Turned about x, then y, then z."""
    material: str | None = None
    """Of a sleeve."""
    coat: str | None = None
    """Surface of a core."""

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
    """As findings and the sheet call it."""
    coat: str
    """Paint, tape or cloth from the catalogue, or your own."""
    where: Where
    """Which faces it covers."""


class Drive(Strict):
    """How far each colour is turned up: 1 is full, as a share of light, not of control code."""

    red: Share = 1.0
    """Share of full red."""
    green: Share = 1.0
    """Share of full green."""
    blue: Share = 1.0
    """Share of full blue."""
    white: Share = 1.0
    """For boards with a single white channel."""


COPY_MARK = "{copy}"
"""In the name of a zone: the number of the copy, from 1."""


class PathInside(Strict):
    """Where a strip is stuck to the inside wall of a hollow body, at one height."""

    height_mm: Mm
    """Height of the wall that the strip is stuck to (z in the body's frame)."""
    from_deg: AngleDeg = 0.0
    """Where its first LED's end is, seen from above from the middle of the wall: 0 is +x, 90 is
    +y."""
    to_deg: AngleDeg | None = None
    """To where it may run; below `from_deg` for clockwise, left out once round. It ends after its
    last LED."""
    off_mm: Annotated[Mm, Field(ge=0, le=1000)] | None = None
    """From the wall to the LEDs' faces; left out, the strip's thickness and 1 mm."""

    @model_validator(mode="after")
    def _some_way(self) -> Self:
        if self.to_deg is not None and not 0 < abs(self.to_deg - self.from_deg) <= 360:
            raise ValueError("from_deg and to_deg must lie apart, by one turn at most")
        return self


class Light(Strict):
    """A light board inside a body, in the body's own frame."""

    name: Name | None = None
    """As findings and the sheet call it."""
    board: str
    """A light board from the catalogue, or your own."""
    position_mm: PointMm = (0.0, 0.0, 0.0)
    """The middle of its LEDs' faces, in the body's frame."""
    path_mm: Annotated[tuple[PointMm, ...], Field(min_length=2, max_length=500)] | None = None
    """For a strip, in place of `position_mm`: points it runs along, from its first LED's end. It
    is followed as flat pieces, cut mark to cut mark, and needs `led_count`."""
    path_inside: PathInside | None = None
    """For a strip, in place of `path_mm`: along the inside wall of a hollow body at one height, as
    { height_mm = 30, from_deg = 180, to_deg = 360 }; it then faces away from the wall unless
    `facing` says otherwise."""
    path_smooth: bool = True
    """Whether the strip bends smoothly through the points, or runs straight between them (cut and
    wired at the corners)."""
    facing: Literal["direction", "outward", "inward", "from_wall", "to_wall"] = "direction"
    """Where a strip along a path faces: the nearest it can to `direction`; away from the middle
    of its path, or towards that; away from the inside wall of its hollow body, or towards that."""
    least_bend_mm: PositiveMm = 10.0
    """Radius that the strip may be bent to at the tightest (common practice for bare strips)."""
    direction: Direction = (0.0, 0.0, 1.0)
    """Where the board faces."""
    along: Direction | None = None
    """Where a strip runs, or how a board is turned about its direction."""
    led_count: Count | None = None
    """LEDs used of a strip."""
    drive: Drive = Drive()
    """How far each colour is turned up."""
    drives: Annotated[tuple[Drive, ...], Field(min_length=1, max_length=2000)] | None = None
    """Of a strip, in place of `drive`: the colour of each LED in their order, over again where
    there are more LEDs."""
    drive_to: Drive | None = None
    """Of a strip, the colour of its last LED; from `drive` at its first the others blend into it,
    in even steps of light."""
    channel_current_ma: Annotated[Number, Field(gt=0, le=5000)] | None = None
    """Measured current per channel and LED; brightness follows it in proportion."""
    zone: Name = "all"
    """What is switched and moved as one. '{copy}' in it stands for the number of the copy, so that
    every copy of a pattern has a zone of its own."""
    zones: tuple[Name, ...] = ()
    """In place of `zone`: one zone for each copy of the pattern, in their order."""
    separate_leds: bool = False
    """Treat each LED as a light of its own, so that findings and pulses can tell them apart."""

    @model_validator(mode="after")
    def _one_colouring(self) -> Self:
        if self.drives is None and self.drive_to is None:
            return self
        if self.drives is not None and {"drive", "drive_to"} & self.model_fields_set:
            raise ValueError("drives says the colour of each LED: leave out drive and drive_to")
        if self.led_count is None:
            raise ValueError("colours LED by LED are for strips: give led_count")
        return self

    @property
    def led_by_led(self) -> bool:
        """Whether its LEDs have colours of their own."""
        return self.drives is not None or self.drive_to is not None

    def drive_of(self, led: int) -> Drive:
        """Return the colour of one LED of a strip, counted from 0."""
        if self.drives is not None:
            return self.drives[led % len(self.drives)]
        if self.drive_to is None:
            return self.drive
        share = led / max(1, (self.led_count or 1) - 1)
        first, last = self.drive.model_dump(), self.drive_to.model_dump()
        return Drive(**{k: (1 - share) * first[k] + share * last[k] for k in first})

    @model_validator(mode="after")
    def _stands_somewhere(self) -> Self:
        placed = "position_mm" in self.model_fields_set
        if not self.runs_along and not placed:
            raise PydanticCustomError(
                "no_place", "this key is needed but missing", {"at": ("position_mm",)}
            )
        if not self.runs_along:
            return self
        key = "path_mm" if self.path_inside is None else "path_inside"
        if self.path_mm is not None and self.path_inside is not None:
            raise ValueError("path_mm and path_inside both say where the strip runs: leave one out")
        if placed or self.along is not None:
            raise ValueError(f"{key} says where the strip runs: leave out position_mm and along")
        if self.led_count is None:
            raise ValueError(f"{key} needs led_count: how many LEDs the strip is cut to")
        return self

    @property
    def runs_along(self) -> bool:
        """Whether it is a strip along a path."""
        return self.path_mm is not None or self.path_inside is not None

    @property
    def wanted_facing(self) -> str:
        """Where a strip along a path faces, as the scene says it or as its path has it."""
        by_wall = (
            self.path_inside is not None and not {"facing", "direction"} & self.model_fields_set
        )
        return "from_wall" if by_wall else self.facing

    def zone_of(self, copy: int) -> str:
        """Return the zone of this light in a copy of its body, counted from 0."""
        return self.zones[copy] if self.zones else self.zone.replace(COPY_MARK, str(copy + 1))


class StripPiece(Light):
    """One LED of a strip along a path, on its flat piece; made of a `Light`, never read."""

    strip: int
    """Number of the strip within its body."""
    strip_name: str
    """Of the whole strip."""
    length_mm: Number
    """Of the piece, a little less than from cut mark to cut mark where the strip bends."""


class Body(Strict):
    """One closed piece of the prop, or a pattern of copies of it."""

    name: Name
    """Its own name, as all tables call it."""
    shape: Shape | None = None
    """A sketch shape, or one from a drawing."""
    mesh: MeshFile | None = None
    """Or a mesh file."""
    material: str
    """A volume material, or a coat: a coat makes a hollow lantern of thin sheet, or, when it
    lets no light through, a piece that is only seen."""
    made: Literal["carved", "printed", "cast", "laminated"] | None = None
    """How it is made, for the build sheet; left out, as its material usually is."""
    wall_mm: FineMm | None = None
    """Wall of a hollow shell; left out, the body is solid."""
    inner: MeshFile | None = None
    """The inner surface of a shell from a file of its own, in place of `wall_mm`: its wall may vary
    as it likes. Where it reaches through the outer surface, the hollow is open to the room."""
    position_mm: PointMm = (0.0, 0.0, 0.0)
    """Where its own origin stands."""
    rotation_deg: AnglesDeg = (0.0, 0.0, 0.0)
    """Turned about x, then y, then z."""
    inserts: tuple[Insert, ...] = ()
    """Pockets, cores and sleeves set into it."""
    masks: tuple[Mask, ...] = ()
    """Paint, tape or cloth on its outside."""
    lights: tuple[Light, ...] = ()
    """The boards in it."""
    patterns: tuple[Pattern, ...] = ()
    """Where copies of it stand, lights and all."""
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
        if self.inner is not None and self.wall_mm is not None:
            raise ValueError("inner says how thick the wall is: leave out wall_mm")
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
