"""Patterns: where the copies of a body, with its lights, stand."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from glowsim.scene.fields import AngleDeg, AnglesDeg, Count, Mm, Number, PointMm, Strict


class Around(Strict):
    """Copies around the z axis through `centre_mm`.

    A copy is first moved `radius_mm` along its own +z, then tilted by `tilt_deg` from the
    axis (0 points up, 90 straight out), then turned about the axis. A round head of spikes
    is a few of these, one per row.
    """

    kind: Literal["around"]
    count: Count
    radius_mm: Annotated[Mm, Field(ge=0)] = 0.0
    tilt_deg: AngleDeg = 0.0
    start_deg: AngleDeg = 0.0
    span_deg: Annotated[Number, Field(gt=0, le=360)] = 360.0
    centre_mm: PointMm = (0.0, 0.0, 0.0)

    @property
    def copy_count(self) -> int:
        """How many copies it makes."""
        return self.count


class Along(Strict):
    """Copies in a row, each moved by `step_mm` and turned by `turn_deg` from the one before."""

    kind: Literal["along"]
    count: Count
    step_mm: PointMm
    turn_deg: AnglesDeg = (0.0, 0.0, 0.0)

    @property
    def copy_count(self) -> int:
        """How many copies it makes."""
        return self.count


class Place(Strict):
    """One place for a copy."""

    position_mm: PointMm
    rotation_deg: AnglesDeg = (0.0, 0.0, 0.0)


class Places(Strict):
    """Copies at places given one by one."""

    kind: Literal["places"]
    places: Annotated[tuple[Place, ...], Field(min_length=1)]

    @property
    def copy_count(self) -> int:
        """How many copies it makes."""
        return len(self.places)


Pattern = Annotated[Around | Along | Places, Field(discriminator="kind")]
