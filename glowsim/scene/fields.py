"""The kinds of value a scene file holds: lengths, points, shares, colours of light."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field

from glowsim.described import Described
from glowsim.errors import SceneError
from glowsim.tomlfile import shown
from glowsim.units import length_mm, mm_per_unit


class Strict(Described):
    """A table of the scene file: an unknown key is a fault, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _number(value: Any) -> Any:
    """Refuse what the validating library would quietly turn into a number."""
    if isinstance(value, (bool, str)):
        raise ValueError(f"{shown(value)} is not a number")
    return value


def _to_mm(value: Any) -> Any:
    if not isinstance(value, (str, int, float)):
        return value
    try:
        return length_mm(value)
    except SceneError as problem:
        raise ValueError(str(problem)) from None


def _known_unit(unit: str) -> str:
    try:
        mm_per_unit(unit)
    except SceneError as problem:
        raise ValueError(str(problem)) from None
    return unit


def _points_somewhere(vector: tuple[float, float, float]) -> tuple[float, float, float]:
    if max(abs(component) for component in vector) < 1e-6:
        raise ValueError(f"a direction needs a length; {list(vector)} points nowhere")
    return vector


def times(length_mm: float, factor: float) -> float:
    """Return a length times a factor, to six figures."""
    return float(f"{length_mm * factor:.6g}")


def _is_direction(value: Any) -> Any:
    """Refuse what is no list of three, with an example."""
    if not isinstance(value, (list, tuple)) or len(value) != 3:
        raise ValueError(
            f"{shown(value)} is not a direction; give three numbers, as [0, -1, 0] for the front "
            "(-y), [1, 0, 0] for the right, [0, 0, 1] for above"
        )
    return value


def _can_be_printed(name: str) -> str:
    if not (name.isprintable() and name.strip()):
        raise ValueError("a name needs letters or digits, and no line breaks")
    return name


Number = Annotated[float, BeforeValidator(_number)]
"""A finite number; neither a text nor true or false will do."""
_Length = Annotated[float, BeforeValidator(_to_mm, json_schema_input_type=float | str)]
Mm = Annotated[_Length, Field(ge=-1e6, le=1e6)]
"""A length or coordinate in mm; a text such as '0.5 in' is converted."""
PositiveMm = Annotated[_Length, Field(gt=0, le=1e6)]
"""A length above zero, in mm."""
SizeMm = Annotated[_Length, Field(ge=0.01, le=10_000)]
"""A size of something that can be made, in mm."""
FineMm = Annotated[_Length, Field(ge=0.05, le=10_000)]
"""A wall, or the edge of a face or grid cell, in mm."""
PointMm = tuple[Mm, Mm, Mm]
"""A point or offset (x, y, z) in mm."""
_Component = Annotated[Number, Field(ge=-1e6, le=1e6)]
Direction = Annotated[
    tuple[_Component, _Component, _Component],
    BeforeValidator(_is_direction),
    AfterValidator(_points_somewhere),
]
"""A direction (x, y, z) of any length but zero."""
AngleDeg = Annotated[Number, Field(ge=-36_000, le=36_000)]
"""An angle in degrees."""
AnglesDeg = tuple[AngleDeg, AngleDeg, AngleDeg]
"""Turns about the x, then the y, then the z axis, in degrees."""
Share = Annotated[Number, Field(ge=0, le=1)]
"""A part of a whole, 0 to 1."""
Count = Annotated[int, BeforeValidator(_number), Field(ge=1, le=10_000)]
"""How many of something."""
Name = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_can_be_printed)]
"""A name the user gives."""
Unit = Annotated[str, AfterValidator(_known_unit)]
"""A unit of length, such as 'mm' or 'in'."""
