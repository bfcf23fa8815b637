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
    """Around an axis."""
    count: Count
    """How many copies."""
    radius_mm: Annotated[Mm, Field(ge=0)] = 0.0
    """From the centre to each copy's own foot."""
    tilt_deg: AngleDeg = 0.0
    """From the axis: 0 stands up, 90 points straight out."""
    start_deg: AngleDeg = 0.0
    """Where the first copy stands, turned from +x."""
    span_deg: Annotated[Number, Field(gt=0, le=360)] = 360.0
    """Part of the round that they fill."""
    centre_mm: PointMm = (0.0, 0.0, 0.0)
    """The middle that they stand around."""

    @property
    def copy_count(self) -> int:
        """How many copies it makes."""
        return self.count


class Along(Strict):
    """Copies in a row, each moved by `step_mm` and turned by `turn_deg` from the one before."""

    kind: Literal["along"]
    """In a row."""
    count: Count
    """How many copies."""
    step_mm: PointMm
    """From each copy to the next."""
    turn_deg: AnglesDeg = (0.0, 0.0, 0.0)
    """How far each is turned from the one before, about x, then y, then z."""

    @property
    def copy_count(self) -> int:
        """How many copies it makes."""
        return self.count


class Place(Strict):
    """One place for a copy."""

    position_mm: PointMm
    """Where its own origin comes to stand."""
    rotation_deg: AnglesDeg = (0.0, 0.0, 0.0)
    """Turned about x, then y, then z."""


class Places(Strict):
    """Copies at places given one by one."""

    kind: Literal["places"]
    """Each at a place of its own."""
    places: Annotated[tuple[Place, ...], Field(min_length=1)]
    """One entry for each copy."""

    @property
    def copy_count(self) -> int:
        """How many copies it makes."""
        return len(self.places)


Pattern = Annotated[Around | Along | Places, Field(discriminator="kind")]
