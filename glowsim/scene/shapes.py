"""Sketch shapes: a maker's first idea of a body, in a handful of numbers.

Every shape stands in its own frame: its base at z = 0 and its length along +z, except that the
orb and the ring are centred on the origin.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glowsim.scene.fields import PositiveMm, Strict


class Spike(Strict):
    """A cone with a rounded tip, optionally bent. Parts: base, side, tip."""

    kind: Literal["spike"]
    length_mm: PositiveMm
    base_diameter_mm: PositiveMm
    tip_radius_mm: PositiveMm = 1.0
    bend_mm: Annotated[float, Field(ge=-1000, le=1000)] = 0.0
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
    diameter_mm: PositiveMm
    height_mm: PositiveMm | None = None


class Rod(Strict):
    """A round bar or disc, optionally tapered and with rounded edges. Parts: base, side, top."""

    kind: Literal["rod"]
    length_mm: PositiveMm
    diameter_mm: PositiveMm
    top_diameter_mm: PositiveMm | None = None


class Slab(Strict):
    """A rectangular block: length along x, width along y, thickness along z."""

    kind: Literal["slab"]
    length_mm: PositiveMm
    width_mm: PositiveMm
    thickness_mm: PositiveMm


class Blade(Strict):
    """A long flat blade of lens-shaped section, narrowing to a point. Parts: base, side, tip.

    Width lies along x, thickness along y; the section keeps its full size up to
    `shoulder` of the length and then narrows to the tip.
    """

    kind: Literal["blade"]
    length_mm: PositiveMm
    width_mm: PositiveMm
    thickness_mm: PositiveMm
    shoulder: Annotated[float, Field(ge=0, lt=1)] = 0.6


class Crystal(Strict):
    """An n-sided prism with a point on top. Parts: base, side, tip."""

    kind: Literal["crystal"]
    length_mm: PositiveMm
    width_mm: PositiveMm
    """Across the corners of the prism."""
    sides: Annotated[int, Field(ge=3, le=24)] = 6
    point_mm: PositiveMm | None = None
    """Height of the point; a third of the length if not given."""
    base_point_mm: Annotated[float, Field(ge=0)] = 0.0
    """Height of a second point at the lower end; 0 leaves a flat base."""

    @model_validator(mode="after")
    def _points_fit(self) -> Self:
        if (self.point_mm or 0) + self.base_point_mm >= self.length_mm:
            raise ValueError(
                "point_mm and base_point_mm together must be less than length_mm "
                f"({self.length_mm:g})"
            )
        return self


class Ring(Strict):
    """A torus around the z axis, centred on the origin."""

    kind: Literal["ring"]
    diameter_mm: PositiveMm
    """Of the circle that the middle of the section runs along."""
    section_diameter_mm: PositiveMm

    @model_validator(mode="after")
    def _hole_open(self) -> Self:
        if self.section_diameter_mm >= self.diameter_mm:
            raise ValueError(
                "section_diameter_mm must be less than diameter_mm, or the hole closes"
            )
        return self


class Dome(Strict):
    """A cap of a sphere or ellipsoid on a flat base. Parts: base, side."""

    kind: Literal["dome"]
    diameter_mm: PositiveMm
    """Of the base."""
    height_mm: PositiveMm


Shape = Annotated[
    Spike | Orb | Rod | Slab | Blade | Crystal | Ring | Dome, Field(discriminator="kind")
]
