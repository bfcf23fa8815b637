"""Where a body's light boards may go, for the commands that place them."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from glowsim.scene.fields import Direction, Mm, PointMm, PositiveMm, Strict


class DrillLine(Strict):
    """Places along a straight hole: boards sit on it, every `step_mm` from its start."""

    kind: Literal["line"]
    """A straight hole."""
    start_mm: PointMm = (0.0, 0.0, 0.0)
    """Where it begins."""
    direction: Direction = (0.0, 0.0, 1.0)
    """Where it leads."""
    step_mm: PositiveMm = 2.0
    """From place to place."""


class DrillRing(Strict):
    """Places on rings about the z axis: every `step_mm` in height, `count` of them around."""

    kind: Literal["ring"]
    """Rings of holes."""
    radius_mm: PositiveMm
    """From the axis to each hole."""
    count: Annotated[int, Field(ge=1, le=360)] = 12
    """Holes in a ring."""
    step_mm: PositiveMm = 2.0
    """From ring to ring."""


Drill = Annotated[DrillLine | DrillRing, Field(discriminator="kind")]


class Placing(Strict):
    """What holds for the places of a body's boards, in the body's own frame."""

    depth_mm: Annotated[Mm, Field(ge=0)] = 3.0
    """LEDs lie at least this far below the outer surface."""
    clearance_mm: Annotated[Mm, Field(ge=0)] = 1.0
    """Room around a board, to glue it in and to lead its wire past."""
    above_mm: Mm | None = None
    """Boards sit above this height (z) ..."""
    below_mm: Mm | None = None
    """... and below this one."""
    directions: Annotated[tuple[Direction, ...], Field(min_length=1)] | None = None
    """Where boards may face; left out, as the body's lights do now."""
    wire_toward: Direction | Literal["anywhere"] = (0.0, 0.0, -1.0)
    """The wire of a board buried in material runs straight this way and must come out where the
    surface is not meant to glow; 'anywhere' leaves that to you."""
    symmetry: Annotated[int, Field(ge=1, le=60)] = 1
    """Boards in sets of this many, evenly around the z axis; one may sit on the axis."""
    drill: Drill | None = None
    """Only places that can be drilled: along a line, or on rings."""

    @model_validator(mode="after")
    def _heights_in_order(self) -> Self:
        low, high = self.above_mm, self.below_mm
        if low is not None and high is not None and low >= high:
            raise ValueError(f"above_mm {low:g} must be less than below_mm {high:g}")
        return self
