"""The kinds of value a readings file holds, beside those of a scene."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field
from pydantic_core import PydanticCustomError

from glowsim.scene.fields import Number

Band = Literal["red", "green", "blue"]
Reading = Annotated[Number, Field(gt=0, le=1e9)]
Readings = tuple[Reading, ...]
Doubt = Annotated[Number, Field(gt=0, le=0.5)]
"""One standard deviation, as a share of the value."""
FileName = Annotated[str, Field(min_length=1, max_length=1000)]
"""A path that starts at the readings file."""

LEAST_PROFILE = 5
"""Values that a stretch of surface must have to show a slope and its bend."""
CLIPPED = 3
"""So many brightest values that are exactly equal are a camera at its end, not light."""


def fault(message: str, *at: str | int) -> PydanticCustomError:
    """Return what a validator raises to name the place of a fault below its own table."""
    return PydanticCustomError("reading", "{message}", {"message": message, "at": at})
