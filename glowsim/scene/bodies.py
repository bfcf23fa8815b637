"""A body of the prop: its shape, what it is made of, what is set into it and its lights."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.scene.fields import (
    AnglesDeg,
    FineMm,
    Mm,
    Name,
    Number,
    PointMm,
    Strict,
    Unit,
)
from glowsim.scene.lights import Light
from glowsim.scene.patterns import Pattern
from glowsim.scene.placing import Placing
from glowsim.scene.shapes import Shape
from glowsim.scene.wanted import Wanted
from glowsim.scene.where import Where, length_times

STEEPEST = 0.5
"""A wall may change by this share of the height over which it does: beyond, what is thick and what
is high cannot be told apart."""

DENSEST = 0.6
"""Share of plastic up to which infill is thin walls in air."""


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


class Infill(Strict):
    """The sparse core of a printed body, as the slicer is set: solid skins, thin walls between."""

    share: Annotated[Number, Field(ge=0, le=1)]
    """Share of the core that is plastic: 0.15 for 15 %. 0 is hollow, 1 is solid; between 0.6 and 1
    give 1, as so dense an infill prints nearly solid."""
    skin_mm: FineMm = 1.2
    """Solid skin all round: perimeters times line width, or top layers times their height."""
    line_mm: Annotated[Number, Field(ge=0.1, le=5)] = 0.45
    """How thick the walls of the infill are: one line of the nozzle."""

    @model_validator(mode="after")
    def _sparse(self) -> Self:
        if DENSEST < self.share < 1:
            raise ValueError(
                f"an infill of {self.share:g} prints nearly solid: give 1, or at most {DENSEST:g}"
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
    wall_by_height_mm: (
        Annotated[tuple[tuple[Mm, FineMm], ...], Field(min_length=2, max_length=100)] | None
    ) = None
    """In place of `wall_mm`, a wall that changes with height: heights (z in the body's frame, going
    up) and the wall there, as [[0, 3.0], [60, 1.5]]; straight between them, even beyond."""
    inner: MeshFile | None = None
    """The inner surface of a shell from a file of its own, in place of `wall_mm`: its wall may vary
    as it likes. Where it reaches through the outer surface, the hollow is open to the room."""
    infill: Infill | None = None
    """A print that is neither solid nor hollow: { share = 0.15, skin_mm = 1.2 } is 15 % infill in a
    solid skin of 1.2 mm, in place of `wall_mm`. Its light is an estimate."""
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
        if self.wall_by_height_mm is not None:
            _tapers(self.wall_by_height_mm, self.wall_mm is not None or self.inner is not None)
        walls = (self.wall_mm, self.wall_by_height_mm, self.inner)
        if self.infill is not None and any(wall is not None for wall in walls):
            raise ValueError(
                "infill has its own skin_mm: leave out wall_mm, wall_by_height_mm and inner"
            )
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
    def regions(self) -> tuple[tuple[tuple[str | int, ...], Where], ...]:
        """The regions of its surface that it names, each with the keys that lead to it."""
        masks = (((("masks", k, "where")), mask.where) for k, mask in enumerate(self.masks))
        named = ((("glow_where",), self.glow_where), (("dark_where",), self.dark_where))
        return (*masks, *((keys, where) for keys, where in named if where is not None))

    def limits_scaled(self, factor: float) -> dict[str, Any]:
        """Return what of it ends at heights and places on its surface, by key, for the same body of
        other size about its own origin; without what it has not."""
        masks = tuple(m.model_copy(update={"where": m.where.scaled(factor)}) for m in self.masks)
        limits: dict[str, Any] = {"masks": masks} if masks else {}
        for key in ("glow_where", "dark_where", "wanted"):
            if (own := getattr(self, key)) is not None:
                limits[key] = own.scaled(factor)
        lights = tuple(light.scaled(factor) for light in self.lights)
        if lights != self.lights:
            limits["lights"] = lights
        if self.wall_by_height_mm is not None:
            walls = self.wall_by_height_mm
            limits["wall_by_height_mm"] = tuple(
                (length_times(z, factor), wall) for z, wall in walls
            )
        return limits

    @property
    def copy_count(self) -> int:
        """How many copies of it stand in the prop."""
        return sum(pattern.copy_count for pattern in self.patterns) if self.patterns else 1

    @property
    def copy_names(self) -> list[str]:
        """What its copies are called: 'spike 1', or 'spike' where there is one."""
        count = self.copy_count
        return [self.name] if count == 1 else [f"{self.name} {k + 1}" for k in range(count)]


def _tapers(points: tuple[tuple[float, float], ...], twice: bool) -> None:
    """Raise ValueError for walls by height that cannot be, or are said twice."""
    if twice:
        raise ValueError("wall_by_height_mm says how thick the wall is: leave out wall_mm, inner")
    for (low, wall), (high, other) in pairwise(points):
        if high <= low:
            raise ValueError(f"the heights of wall_by_height_mm must rise: {high:g} after {low:g}")
        if abs(other - wall) > STEEPEST * (high - low):
            raise ValueError(
                f"the wall changes by {abs(other - wall):g} mm over {high - low:g} mm of height; "
                f"spread that over {abs(other - wall) / STEEPEST:g} mm or more"
            )


def _one_source(shape: object, mesh: object) -> None:
    if (shape is None) == (mesh is None):
        raise ValueError("give either shape or mesh, one of the two")
