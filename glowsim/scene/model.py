"""The scene as a whole: bodies, the room it is seen in, and what counts as a finding."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.scene.bodies import Body
from glowsim.scene.fields import AngleDeg, Number, PositiveMm, Strict
from glowsim.scene.heat import Heat
from glowsim.scene.supply import Controller, Power, Pulse, Wiring, pulse_fault

Entries = dict[str, dict[str, Any]]
"""Catalogue entries as written, by name."""


class Room(Strict):
    """Where the prop will be seen: the light that falls on it, and from how far."""

    illuminance_lx: Annotated[Number, Field(ge=0, le=150_000)] = 50.0
    """Light that falls on the prop: 20 a street at night, 300 a hall, 500 a shop."""
    light_temperature_k: Annotated[Number, Field(ge=1700, le=20_000)] = 4000.0
    """Its colour: 2700 warm lamps, 6500 daylight."""
    viewing_distance_mm: PositiveMm = 2000.0
    """From where it is seen: what ripples finer than the eye can part is even."""
    observer: Literal["eye", "camera"] = "eye"
    """Whose glare the pictures show: a camera scatters about a third of what an eye does."""
    observer_age_years: Annotated[Number, Field(ge=5, le=100)] = 30.0
    """Glare grows with age."""


class View(Strict):
    """From where the pictures are taken."""

    azimuth_deg: AngleDeg = 25.0
    """Turned round the prop, from the front."""
    elevation_deg: Annotated[Number, Field(ge=-89, le=89)] = 12.0
    """Up from level."""
    exposure_cd_m2: Annotated[Number, Field(gt=0, le=1e9)] | None = None
    """Luminance shown as full white; chosen from the scene if left out."""


class Thresholds(Strict):
    """What counts as a finding. Printed with every result."""

    hot_spot_ratio: Annotated[Number, Field(gt=1, le=1e6)] = 1.5
    """A patch this much brighter than its surroundings is a hot spot."""
    dark_gap_ratio: Annotated[Number, Field(gt=0, lt=1)] = 0.67
    """A patch this much darker than its surroundings is a dark gap."""
    surround_deg: Annotated[Number, Field(gt=0, le=20)] = 1.5
    """Radius of 'its surroundings', as an angle at the viewer's eye."""
    whole_bright_ratio: Annotated[Number, Field(gt=1, le=1e6)] = 3.0
    """A patch this much brighter than the body's mean is a hot spot wherever it lies."""
    whole_dark_ratio: Annotated[Number, Field(gt=0, lt=1)] = 0.33
    """A patch this much darker than the body's mean is a dark gap wherever it lies."""
    evenness_target: Annotated[Number, Field(gt=0, lt=1)] = 0.5
    """5th percentile over mean luminance that is wanted: from here on a glow is fair, below it is
    patchy. What is too bright counts alike: a glow must not be less even than a soft ripple with
    this 5th percentile."""
    even_from: Annotated[Number, Field(gt=0, lt=1)] = 0.7
    """The same from which a glow is even, if no spot stands out (that of a good light box)."""
    even_factor: Annotated[Number, Field(gt=1, le=100)] = 1.5
    """What lies within this factor of the middle counts as neither too dark nor too bright."""
    glow_ratio: Annotated[Number, Field(gt=0, le=1e6)] = 1.7
    """Glow plus room light over white paper in the same light: from here on it looks lit."""
    buried_power_w: Annotated[Number, Field(gt=0, le=1e6)] = 0.4
    """Average power of one buried board above which the heat is flagged."""


class Scene(Strict):
    """A prop: its bodies with their lights, the room, the view and the thresholds."""

    title: str = ""
    """As it stands over tables and pictures."""
    room: Room = Room()
    """Where it will be seen."""
    view: View = View()
    """From where pictures are taken."""
    findings: Thresholds = Thresholds()
    """What counts as a hot spot, a dark gap, as even."""
    heat: Heat = Heat()
    """What its warmth is judged by."""
    materials_from: tuple[Annotated[str, Field(min_length=1, max_length=1000)], ...] = ()
    """Files of own materials, such as `calibrate` writes; a relative path starts at the scene."""
    materials: Entries = Field(default_factory=dict)
    """The user's own volume materials; the catalogue checks them."""
    coats: Entries = Field(default_factory=dict)
    """The user's own paints, tapes, sheets and surfaces."""
    boards: Entries = Field(default_factory=dict)
    """The user's own light boards."""
    batteries: Entries = Field(default_factory=dict)
    """The user's own batteries."""
    bodies: Annotated[tuple[Body, ...], Field(min_length=1)]
    """The pieces that glow, or stand before what glows."""
    power: Power | None = None
    """The battery; left out, boards are at full voltage."""
    wiring: Wiring | None = None
    """How wires run from the battery to the boards."""
    controller: Controller = Controller()
    """What drives addressable boards, and which of its outputs feeds which."""
    pulses: tuple[Pulse, ...] = ()
    """How zones of lights move."""

    @property
    def numbers(self) -> dict[str, int]:
        """The number of each body, by its name."""
        return {body.name: number for number, body in enumerate(self.bodies)}

    def with_body(self, number: int, body: Body) -> Scene:
        """Return the scene with another body in one's place."""
        bodies = (*self.bodies[:number], body, *self.bodies[number + 1 :])
        return self.model_copy(update={"bodies": bodies})

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [body.name for body in self.bodies]
        for number, name in enumerate(names):
            if name in names[:number]:
                raise PydanticCustomError(
                    "same_name",
                    "two bodies are called '{name}'; every body needs its own name",
                    {"name": name, "at": ("bodies", number, "name")},
                )
        return self

    @model_validator(mode="after")
    def _pulses_move_lights(self) -> Self:
        zones = {
            zone
            for body in self.bodies
            for light in body.lights
            for zone in (
                *(light.zone_of(copy) for copy in range(body.copy_count)),
                *(() if light.zones else (light.zone,)),
            )
        }
        if fault := pulse_fault(zones, self.pulses):
            raise fault
        return self
