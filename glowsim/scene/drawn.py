"""Shapes from a drawing: outlines, profiles and paths, as points or from an SVG or DXF file."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glowsim.scene.fields import FineMm, Mm, Number, PointMm, SizeMm, Strict, Unit

FlatPointMm = tuple[Mm, Mm]
"""A point of a drawing: right and up, or radius and height, in mm."""


class FileLines(Strict):
    """Lines of an SVG or DXF file. A relative path starts at the scene file."""

    file: Annotated[str, Field(min_length=1, max_length=1000)] | None = None
    """An SVG or DXF drawing."""
    path: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    """Which of its lines: the id of an SVG path or group, an SVG layer, or a DXF layer; left
    out, all of them."""
    units: Unit | None = None
    """Unit of the drawing's numbers, where it says none itself."""
    width_mm: SizeMm | None = None
    """How wide the chosen lines are, left to right: sets the scale of a drawing without a unit,
    and checks that of one which has its own."""
    height_mm: SizeMm | None = None
    """How high the chosen lines are, used as `width_mm` is."""

    def _one_of(self, **ways: object) -> None:
        given = [name for name, value in {**ways, "file": self.file}.items() if value is not None]
        if len(given) != 1:
            raise ValueError(f"give one of {', '.join([*ways, 'file'])}")
        stray = [key for key in ("path", "units", "width_mm", "height_mm") if getattr(self, key)]
        if self.file is None and stray:
            raise ValueError(f"{stray[0]} belongs to a drawing from a file")


class Outline(FileLines):
    """A closed outline, or the profile of a turned body: points, a circle, or lines of a file.

    Points count as they are written. Lines of a file are moved: a `cut` stands with its lowest
    point at z = 0 and its middle at x = 0; a turned profile has its left edge on the axis and its
    lowest point at z = 0; the outlines of a `loft` have their middle on the z axis.
    """

    points_mm: Annotated[tuple[FlatPointMm, ...], Field(min_length=2, max_length=5000)] | None = (
        None
    )
    """Points [x, z] of a cut, [radius, height] of a turned profile, [x, y] of a loft."""
    diameter_mm: SizeMm | None = None
    """A circle about the origin."""
    smooth: bool = False
    """Draw a smooth curve through the points instead of straight lines (a turned profile's flat
    ends stay flat)."""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        self._one_of(points_mm=self.points_mm, diameter_mm=self.diameter_mm)
        if self.smooth and self.points_mm is None:
            raise ValueError("smooth belongs to points_mm")
        return self


class Course(FileLines):
    """A path in space: points, or a line of a file, which runs in the x-z plane.

    A line of a file begins at its lower end, and that end is put at the origin.
    """

    points_mm: Annotated[tuple[PointMm, ...], Field(min_length=2, max_length=2000)] | None = None
    """Points [x, y, z] in the body's frame, from the base to the tip."""
    smooth: bool = True
    """Draw a smooth curve through the points instead of straight lines."""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        self._one_of(points_mm=self.points_mm)
        return self


class FromDrawing(Strict):
    """What all shapes from a drawing have in common."""

    scale: Annotated[Number, Field(gt=0, le=1e4)] = 1.0
    """Size of the finished shape over that of the drawing, about the origin."""
    grow_mm: Annotated[Mm, Field(ge=0, le=1000)] = 0.0
    """A layer of this thickness put on all over the surface, after scaling."""

    @property
    def lines(self) -> tuple[FileLines, ...]:
        """The outlines and paths it is made of."""
        return ()

    @property
    def files(self) -> tuple[str, ...]:
        """The drawings it is read from."""
        return tuple(dict.fromkeys(lines.file for lines in self.lines if lines.file is not None))


class Turned(FromDrawing):
    """A profile turned about the z axis. Parts: base and top (its flat ends), side.

    The profile's points are (radius, height); an open one is closed straight to the axis.
    """

    kind: Literal["turned"]
    """A profile turned about an axis."""
    profile: Outline
    """Half the body's section: points [radius, height], or lines of a file."""
    inner_radius_mm: Annotated[Mm, Field(ge=0, le=10_000)] = 0.0
    """How far the left edge of a profile from a file lies from the axis."""

    @property
    def lines(self) -> tuple[FileLines, ...]:
        """What it takes from a file."""
        return (self.profile,)

    @model_validator(mode="after")
    def _beside_the_axis(self) -> Self:
        points = self.profile.points_mm
        if self.profile.diameter_mm is not None:
            raise ValueError("a profile needs points_mm or file; diameter_mm is for outlines")
        if points is not None and min(radius for radius, _ in points) < 0:
            raise ValueError("a profile's points are [radius, height]; no radius is below 0")
        if points is not None and self.inner_radius_mm:
            raise ValueError("inner_radius_mm belongs to a profile from a file")
        return self


class Cut(FromDrawing):
    """An outline cut from a sheet, upright in the x-z plane. Parts: front, back, edge.

    Its points are (x, z); the thickness lies along y, the front faces -y. Lines within the
    outline are holes.
    """

    kind: Literal["cut"]
    """An outline cut from sheet."""
    outline: Outline
    """What is cut out; lines within it are holes."""
    thickness_mm: SizeMm
    """Of the sheet: what it has where it is thickest."""
    edge: Literal["square", "rounded", "chamfered", "lens"] = "square"
    """square: as sawn; rounded, chamfered (45 degrees); lens: both faces swell from the edge to
    the full thickness where the outline is widest."""
    edge_mm: FineMm | None = None
    """Radius of the rounding (half the thickness if left out), depth of the chamfer (a quarter),
    or what a lens keeps of its thickness at the very edge (a twentieth)."""

    @property
    def lines(self) -> tuple[FileLines, ...]:
        """What it takes from a file."""
        return (self.outline,)

    @model_validator(mode="after")
    def _edge_fits(self) -> Self:
        if self.edge_mm is None:
            return self
        if self.edge == "square":
            raise ValueError("edge_mm needs edge = 'rounded', 'chamfered' or 'lens'")
        most = self.thickness_mm if self.edge == "lens" else self.thickness_mm / 2
        if self.edge_mm > most:
            raise ValueError(
                f"edge_mm {self.edge_mm:g} must be at most {most:g} on a thickness of "
                f"{self.thickness_mm:g}"
            )
        return self


class Drawn(FromDrawing):
    """A round section drawn along a path, as a horn or tentacle. Parts: base, side, tip."""

    kind: Literal["drawn"]
    """A section drawn along a path."""
    along: Course
    """The path of the middle of the section."""
    diameters_mm: Annotated[tuple[SizeMm, ...], Field(min_length=1, max_length=200)]
    """Diameters at even steps along the path, from its base to its tip; one for the same
    throughout."""
    round_tip: bool = True
    """Close the tip with half a ball about the path's end instead of flat."""

    @property
    def lines(self) -> tuple[FileLines, ...]:
        """What it takes from a file."""
        return (self.along,)


class LoftSection(Strict):
    """One outline of a loft."""

    height_mm: Mm
    """z of the outline in the body's frame."""
    outline: Outline
    """Its points are [x, y] at that height."""
    shift_mm: FlatPointMm = (0.0, 0.0)
    """How far it is moved aside, along x and y."""


class Loft(FromDrawing):
    """A skin drawn straight from outline to outline, upward along z. Parts: base, side, top.

    Outlines are matched by the way along them, beginning where each is cut by a line from its
    middle towards +x.
    """

    kind: Literal["loft"]
    """A skin from outline to outline."""
    sections: Annotated[tuple[LoftSection, ...], Field(min_length=2, max_length=200)]
    """The outlines, from below upward."""

    @property
    def lines(self) -> tuple[FileLines, ...]:
        """What it takes from a file."""
        return tuple(section.outline for section in self.sections)

    @model_validator(mode="after")
    def _rises(self) -> Self:
        heights = [section.height_mm for section in self.sections]
        for low, high in pairwise(heights):
            if high - low < 0.01:
                raise ValueError(
                    f"each section must stand above the one before; {high:g} follows {low:g}"
                )
        return self
