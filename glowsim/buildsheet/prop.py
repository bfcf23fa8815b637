"""All that is known of a prop once everything has been worked out."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image

from glowsim.buildsheet.blocks import Block
from glowsim.buildsheet.places import BodyPlaces
from glowsim.buildsheet.seats import Seat
from glowsim.electrics.heat import HeatReport
from glowsim.electrics.pack import Choice
from glowsim.electrics.power import PowerReport
from glowsim.transport.plan import Plan
from glowsim.transport.problem import Copy

FALLS_SHORT = ("no", "too short")
"""Verdicts on the scene's own battery that call for another."""


@dataclass(frozen=True, kw_only=True)
class Prop:
    """All that is known of a prop once everything has been worked out.

    bodies   : every different body, with how many copies stand of it
    copies   : every copy, in the prop's frame;  seats : how it sits on others, by its name
    carriers : where its own battery falls short, those that carry it for `carried_hours`
    pictures : each with its caption;  heat : None where it could not be worked out, and why
    trouble  : what to do when a board is not right
    files    : names of the mesh files beside the sheet, each with what it is
    """

    plan: Plan
    bodies: tuple[tuple[BodyPlaces, int], ...]
    copies: tuple[Copy, ...]
    seats: dict[str, tuple[Seat, ...]]
    power: PowerReport
    carriers: tuple[Choice, ...]
    carried_hours: float
    heat: HeatReport | None
    why_no_heat: str
    pictures: tuple[tuple[Image.Image, str], ...]
    findings: tuple[str, ...]
    trouble: tuple[Block, ...]
    files: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    @property
    def lit(self) -> tuple[tuple[BodyPlaces, int], ...]:
        """The bodies with lights."""
        return tuple(row for row in self.bodies if row[0].lights)
