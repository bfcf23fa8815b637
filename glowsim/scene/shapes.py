"""Sketch shapes: a maker's first idea of a body, in a handful of numbers.

Every shape stands in its own frame: its base at z = 0 and its length along +z, except that the
orb and the ring are centred on the origin.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glowsim.scene.drawn import Cut, Drawn, Loft, Turned
from glowsim.scene.fields import Count, Mm, Number, SizeMm, Strict


class Spike(Strict):
    """A cone with a rounded tip, optionally bent. Parts: base, side, tip."""

    kind: Literal["spike"]
    """A cone with a rounded tip."""
    length_mm: SizeMm
    """From the base to the tip."""
    base_diameter_mm: SizeMm
    """Across the base."""
    tip_radius_mm: SizeMm = 1.0
    """How blunt the tip is."""
    bend_mm: Annotated[Mm, Field(ge=-1000, le=1000)] = 0.0
    """How far the tip is carried toward +x, growing with the square of the height."""

    @model_validator(mode="after")
    def _tip_fits(self) -> Self:
        if self.tip_radius_mm >= self.base_diameter_mm / 2:
            raise ValueError(
                f"tip_radius_mm {self.tip_radius_mm:g} must be less than half of base_diameter_mm "
                f"({self.base_diameter_mm / 2:g})"
            )
        if self.tip_radius_mm >= self.length_mm / 2:
            raise ValueError(
                f"tip_radius_mm {self.tip_radius_mm:g} must be less than half of length_mm"
            )
        return self


class Orb(Strict):
    """A sphere, or an ellipsoid where `height_mm` differs. Centred on the origin."""

    kind: Literal["orb"]
    """A ball or ellipsoid."""
    diameter_mm: SizeMm
    """Across, in x and y."""
    height_mm: SizeMm | None = None
    """Along z; left out, as wide."""


class Rod(Strict):
    """A round bar or disc, optionally tapered and with rounded edges. Parts: base, side, top."""

    kind: Literal["rod"]
    """A round bar or disc."""
    length_mm: SizeMm
    """From end to end."""
    diameter_mm: SizeMm
    """Across the base."""
    top_diameter_mm: SizeMm | None = None
    """Across the top; left out, as wide as the base."""


class Slab(Strict):
    """A rectangular block: length along x, width along y, thickness along z."""

    kind: Literal["slab"]
    """A block."""
    length_mm: SizeMm
    """Along x."""
    width_mm: SizeMm
    """Along y."""
    thickness_mm: SizeMm
    """Along z, from the base up."""


class Blade(Strict):
    """A long flat blade of lens-shaped section, narrowing to a point. Parts: base, side, tip.

    Width lies along x, thickness along y; the section keeps its full size up to
    `shoulder` of the length and then narrows to the tip.
    """

    kind: Literal["blade"]
    """A flat blade of lens section."""
    length_mm: SizeMm
    """From the base to the tip."""
    width_mm: SizeMm
    """Across the flat, along x."""
    thickness_mm: SizeMm
    """In its middle, along y."""
    shoulder: Annotated[Number, Field(ge=0, le=0.98)] = 0.6
    """Share of the length that keeps the full width; from there it narrows."""

    @model_validator(mode="after")
    def _flat(self) -> Self:
        if self.thickness_mm > self.width_mm:
            raise ValueError(
                f"thickness_mm {self.thickness_mm:g} must not be more than width_mm "
                f"({self.width_mm:g}); a blade is flat"
            )
        return self


class Crystal(Strict):
    """An n-sided prism with a point on top. Parts: base, side, tip."""

    kind: Literal["crystal"]
    """A prism with a point."""
    length_mm: SizeMm
    """From end to end, points and all."""
    width_mm: SizeMm
    """Across the corners of the prism."""
    sides: Annotated[Count, Field(ge=3, le=24)] = 6
    """How many sides the prism has."""
    point_mm: SizeMm | None = None
    """Height of the point; a third of the length if not given."""
    base_point_mm: Annotated[Mm, Field(ge=0)] = 0.0
    """Height of a second point at the lower end; 0 leaves a flat base."""

    @model_validator(mode="after")
    def _points_fit(self) -> Self:
        point_mm = self.point_mm or self.length_mm / 3
        if point_mm + self.base_point_mm >= self.length_mm:
            raise ValueError(
                f"point_mm ({point_mm:g}) and base_point_mm ({self.base_point_mm:g}) together "
                f"must be less than length_mm ({self.length_mm:g})"
            )
        return self


class Ring(Strict):
    """A torus around the z axis, centred on the origin."""

    kind: Literal["ring"]
    """A round bar bent to a ring."""
    diameter_mm: SizeMm
    """Of the circle that the middle of the section runs along."""
    section_diameter_mm: SizeMm
    """Across the bar that it is bent of."""

    @model_validator(mode="after")
    def _hole_open(self) -> Self:
        if self.section_diameter_mm > 0.95 * self.diameter_mm:
            raise ValueError(
                f"section_diameter_mm {self.section_diameter_mm:g} must be at most 0.95 of "
                f"diameter_mm ({self.diameter_mm:g}), or the hole closes"
            )
        return self


class Dome(Strict):
    """A cap of a sphere or ellipsoid on a flat base. Parts: base, side."""

    kind: Literal["dome"]
    """A cap on a flat base."""
    diameter_mm: SizeMm
    """Of the base."""
    height_mm: SizeMm
    """From the base to the top."""


Sketch = Spike | Orb | Rod | Slab | Blade | Crystal | Ring | Dome
"""Shapes that a handful of numbers give."""
Shape = Annotated[Sketch | Turned | Cut | Drawn | Loft, Field(discriminator="kind")]
