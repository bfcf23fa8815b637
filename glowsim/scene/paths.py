"""Paths that strips and chains lie along, where the scene says them by the body itself."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from glowsim.scene.fields import AngleDeg, Mm, PointMm, Strict
from glowsim.scene.where import Where, point_times


class PathInside(Strict):
    """Where a strip is stuck to the inside wall of a hollow body, at one height."""

    height_mm: Mm
    """Height of the wall that the strip is stuck to (z in the body's frame)."""
    from_deg: AngleDeg = 0.0
    """Where its first LED's end is, seen from above from half-way between the wall's ends at that
    height, wherever the body's own zero point is: 0 is +x, 90 is +y."""
    to_deg: AngleDeg | None = None
    """To where it may run; below `from_deg` for clockwise, left out once round. It ends after its
    last LED."""
    off_mm: Annotated[Mm, Field(ge=0, le=1000)] | None = None
    """From the wall to the LEDs' faces; left out, the strip's thickness and 1 mm, or a board's and
    4 mm, which its wires need."""

    @model_validator(mode="after")
    def _some_way(self) -> Self:
        if self.to_deg is not None and not 0 < abs(self.to_deg - self.from_deg) <= 360:
            raise ValueError("from_deg and to_deg must lie apart, by one turn at most")
        return self


class PathAlong(Strict):
    """An edge of its body that a strip follows, so far in from the edge and so deep."""

    edge: Literal["rim", "border", "sharp"]
    """rim: of an opening, on the inside wall of a shell; border: of a region of the surface (`of`);
    sharp: where the surface turns sharply, as round the face of a blade cut from sheet."""
    of: Where | None = None
    """The region whose border it is, as a mask has it: { part = "front" }, { colour = "#ff0000" },
    { above_mm = 40 }."""
    near_mm: PointMm | None = None
    """A point beside the edge that is meant, where there are several; left out, the longest. For a
    sharp edge, which needs it, on the face to lie beneath."""
    from_mm: PointMm | None = None
    """The path begins where it comes nearest to this point. Left out, an edge that goes all round
    begins where it reaches farthest toward +x, at the lowest such place, and runs counter-clockwise
    as seen by who looks at the surface."""
    to_mm: PointMm | None = None
    """And ends where it comes nearest to this one, the shorter way round."""
    via_mm: PointMm | None = None
    """Or the way round that comes nearer to this point."""
    inside_mm: Annotated[Mm, Field(ge=0, le=1000)] = 0.0
    """How far in from the edge it lies on the surface, straight across."""
    depth_mm: Annotated[Mm, Field(ge=0, le=1000)] | None = None
    """From the surface to the LEDs' faces: of a rim, from the inside wall into the hollow, and left
    out as `off_mm` of `path_inside`; of the others, below the surface."""

    def scaled(self, factor: float) -> PathAlong:
        """Return it on a body of other size: the edge where it then is, as far in and as deep."""
        points = {key: getattr(self, key) for key in ("near_mm", "from_mm", "to_mm", "via_mm")}
        update: dict[str, Any] = {
            key: None if point is None else point_times(point, factor)
            for key, point in points.items()
        }
        update["of"] = self.of and self.of.scaled(factor)
        return self.model_copy(update=update)

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.of is not None) != (self.edge == "border"):
            raise ValueError('of belongs to edge = "border", and that needs it: the region')
        if self.edge == "sharp" and self.near_mm is None:
            raise ValueError("a sharp edge needs near_mm: a point on the face to lie beneath")
        if self.edge != "rim" and self.depth_mm is None:
            raise ValueError("depth_mm is needed: how far below the surface the LEDs' faces lie")
        if self.to_mm is not None and self.from_mm is None:
            raise ValueError("to_mm needs from_mm: where the path begins")
        if self.via_mm is not None and self.to_mm is None:
            raise ValueError("via_mm needs from_mm and to_mm: where the path begins and ends")
        return self
