"""The kinds of value a scene file holds: lengths, points, shares, colours of light."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from glowsim.errors import SceneError
from glowsim.units import length_mm


class Strict(BaseModel):
    """A table of the scene file: an unknown key is a fault, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _to_mm(value: Any) -> Any:
    if not isinstance(value, (str, int, float)) or isinstance(value, bool):
        return value
    try:
        return length_mm(value)
    except SceneError as problem:
        raise ValueError(str(problem)) from None


def _not_zero(vector: tuple[float, float, float]) -> tuple[float, float, float]:
    if vector == (0.0, 0.0, 0.0):
        raise ValueError("a direction needs a length; [0, 0, 0] points nowhere")
    return vector


Mm = Annotated[float, BeforeValidator(_to_mm)]
"""A length or coordinate in mm; a text such as '0.5 in' is converted."""
PositiveMm = Annotated[float, BeforeValidator(_to_mm), Field(gt=0)]
"""A length above zero, in mm."""
PointMm = tuple[Mm, Mm, Mm]
"""A point or offset (x, y, z) in mm."""
Direction = Annotated[tuple[float, float, float], AfterValidator(_not_zero)]
"""A direction (x, y, z) of any length but zero."""
AnglesDeg = tuple[float, float, float]
"""Turns about the x, then the y, then the z axis, in degrees."""
Share = Annotated[float, Field(ge=0, le=1)]
"""A part of a whole, 0 to 1."""
Count = Annotated[int, Field(ge=1, le=10_000)]
"""How many of something."""
Name = Annotated[str, Field(min_length=1, max_length=80)]
"""A name the user gives."""
