"""What feeds and moves the lights: the battery, the wires, the controller, the pulses."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.errors import did_you_mean
from glowsim.scene.fields import Count, Name, Number, PositiveMm, Share, Strict

SUPPLY = "supply"
"""The node every wiring starts from: the battery's plugs, or its converter's."""


class Converter(Strict):
    """A step-up or step-down converter between the battery and the boards."""

    output_v: Annotated[Number, Field(gt=0, le=60)] = 5.0
    """What it gives."""
    efficiency: Annotated[Number, Field(gt=0, le=1)] = 0.85
    """Share of the battery's energy that comes out of it."""
    max_current_ma: Annotated[Number, Field(gt=0, le=100_000)] = 3000.0
    """What it can give on its output for long."""


class Power(Strict):
    """The battery: cells of one kind from the catalogue, in series and side by side."""

    battery: str
    """A cell or power bank from the catalogue, or your own."""
    in_series: Count = 1
    """Cells one behind another: their voltages add up."""
    in_parallel: Count = 1
    """Such rows side by side: their capacities add up."""
    converter: Converter | None = None
    """Left out, the boards hang on the battery as it is; a power bank has its own."""
    wanted_hours: Annotated[Number, Field(gt=0, le=1000)] | None = None
    """How long one charge should last."""
    fuse_rule: Literal["IEC", "UL"] = "IEC"
    """Which fuses you buy: IEC 60127 (carries its rating for long) or North American, UL 248-14
    (carries three quarters of it)."""


def _gauge_name(value: object) -> object:
    """Return a gauge as the catalogue of wires names it: 24 is '24 AWG'."""
    if isinstance(value, bool) or not isinstance(value, (int, str)):
        raise ValueError(f"{value!r} is not a gauge; write 24 for 24 AWG, or a text like '0.5 mm2'")
    words = str(value).lower().replace("awg", "").replace("²", "2").split()
    if words and words[0].endswith("mm2"):
        words = [words[0].removesuffix("mm2"), "mm2"]
    return f"{words[0]} {'mm2' if 'mm2' in words else 'AWG'}" if words and words[0] else str(value)


Gauge = Annotated[
    str, BeforeValidator(_gauge_name, json_schema_input_type=int | str), AfterValidator(str.strip)
]
"""A wire size: a number means AWG; a text may say '24 AWG' or '0.5 mm2'."""


class _Wiring(Strict):
    gauge: Gauge = "24 AWG"
    """Size of the supply wires."""
    drop_limit_v: Annotated[Number, Field(gt=0, le=60)] = 0.5
    """Greatest loss from the supply to any board at full white, both conductors together."""


class Bus(_Wiring):
    """One pair of wires along all boards, each tapped from it in turn."""

    kind: Literal["bus"]
    """One pair along all boards."""
    feed_mm: PositiveMm
    """From the supply to the first board."""
    spacing_mm: PositiveMm
    """From each board to the next; within a chain along a path its pitch counts."""
    second_feed_mm: PositiveMm | None = None
    """Of a second pair from the supply, to the last board; left out, there is none."""
    boards: tuple[Name, ...] = ()
    """The boards in their order; left out, all as they stand in the scene."""


class Chain(_Wiring):
    """From board to board: each passes the current of all behind it through its own joints."""

    kind: Literal["chain"]
    """From board to board."""
    feed_mm: PositiveMm
    """From the supply to the first board."""
    spacing_mm: PositiveMm
    """From each board to the next; within a chain along a path its pitch counts."""
    second_feed_mm: PositiveMm | None = None
    """Of a second pair from the supply, to the last board; left out, there is none."""
    boards: tuple[Name, ...] = ()
    """The boards in their order; left out, all as they stand in the scene."""
    joint_mohm: Annotated[Number, Field(ge=0, le=10_000)] = 20.0
    """Of each conductor from one board to the next: plugs, pads and copper of the board."""


class Star(_Wiring):
    """A pair of its own for each board from one point."""

    kind: Literal["star"]
    """A pair for each board."""
    feed_mm: PositiveMm | None = None
    """Common pair from the supply to that point; left out, the point is the supply."""
    feed_gauge: Gauge | None = None
    """Size of that pair; left out, as all."""
    run_mm: PositiveMm
    """Length of each board's own pair."""
    boards: tuple[Name, ...] = ()
    """Which boards; left out, all."""


class Segment(Strict):
    """A pair of wires from one point of a tree to the next."""

    start: Name = SUPPLY
    """The point it comes from: the supply, or the end of another."""
    end: Name
    """A name of your own for the point it leads to."""
    length_mm: PositiveMm
    """Of the pair, one way."""
    gauge: Gauge | None = None
    """Left out, that of the whole wiring."""
    boards: tuple[Name, ...] = ()
    """Boards at its end: 'spike 1: board', or 'spike 1' or 'spike' for all of these."""


class Tree(_Wiring):
    """Segments that branch from the supply outwards."""

    kind: Literal["tree"]
    """Segments that branch."""
    segments: Annotated[tuple[Segment, ...], Field(min_length=1)]
    """The pairs, from the supply outwards."""

    @model_validator(mode="after")
    def _is_a_tree(self) -> Self:
        ends = [segment.end for segment in self.segments]
        for number, segment in enumerate(self.segments):
            at: tuple[str | int, ...] = ("segments", number, "end")
            if segment.end == SUPPLY or segment.end in ends[:number]:
                raise _fault(
                    f"this segment closes a loop: '{segment.end}' is reached another way "
                    "already; in a tree there is one way to each point",
                    *at,
                )
            if segment.start not in (SUPPLY, *ends):
                near = did_you_mean(segment.start, (SUPPLY, *ends))
                raise _fault(f"no segment ends at '{segment.start}'{near}", *at[:2], "start")
        reached = {SUPPLY}
        for _ in self.segments:
            reached |= {s.end for s in self.segments if s.start in reached}
        for number, segment in enumerate(self.segments):
            if segment.end not in reached:
                raise _fault(
                    f"'{segment.start}' and '{segment.end}' lie on a loop that no wire from the "
                    f"{SUPPLY} leads to; start one of its segments at '{SUPPLY}'",
                    *("segments", number, "start"),
                )
        return self


Wiring = Annotated[Bus | Chain | Star | Tree, Field(discriminator="kind")]


class Pin(Strict):
    """One data output of the controller, and the boards that its data pass."""

    name: Name
    """As it is called on the controller: 'D5', 'GPIO 16', '4'."""
    boards: tuple[Name, ...] = ()
    """Boards one behind another, in the order the data pass them: 'spike 1: board', or 'spike 1'
    or 'spike' for all of these."""
    branches: tuple[Annotated[tuple[Name, ...], Field(min_length=1)], ...] = ()
    """In place of `boards`: several such rows, side by side. Each has a wire of its own from this
    pin and shows the same as the others."""
    lead_mm: PositiveMm | None = None
    """Of the data wire from the controller to the first board of each row; left out, as far as
    the supply's wires go."""
    step_mm: PositiveMm | None = None
    """Of the data wire from each board of a row to the next; left out, as far as the supply's
    wires go."""

    @model_validator(mode="after")
    def _feeds_boards(self) -> Self:
        if bool(self.boards) == bool(self.branches):
            raise _fault(
                "give `boards` (one row, the data pass one board after another) or `branches` "
                "(several rows that show the same), one of the two"
            )
        return self

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """The names in each row of boards."""
        return self.branches or (self.boards,)


class Controller(Strict):
    """What sends the data to addressable boards."""

    logic_v: Annotated[Number, Field(gt=0, le=24)] = 3.3
    """Voltage of its data outputs."""
    level_shifter: bool = False
    """Whether the data pass a chip that lifts them to the boards' supply."""
    frames_per_second: Annotated[Number, Field(gt=0, le=2000)] = 50.0
    """How often it sends new colours."""
    outputs: Count | None = None
    """Data outputs it has, if that is a limit."""
    memory_bytes: Annotated[int, Field(ge=1, le=10**10)] | None = None
    """For tables of the show, if that is a limit."""
    at: Name = SUPPLY
    """The point of the wiring where it sits."""
    pins: tuple[Pin, ...] = ()
    """Which output feeds which boards; left out, the tool makes a plan."""

    @model_validator(mode="after")
    def _pins_differ(self) -> Self:
        names = [pin.name for pin in self.pins]
        for number, name in enumerate(names):
            if name in names[:number]:
                raise _fault(
                    f"the pin '{name}' is used twice; write all that it feeds in one entry: "
                    "`boards` for one row, `branches` for rows that show the same",
                    *("pins", number, "name"),
                )
        if self.outputs is not None and len(names) > self.outputs:
            raise _fault(
                f"{len(names)} pins are written and the controller has {self.outputs} outputs",
                "outputs",
            )
        return self


class Pulse(Strict):
    """How a zone's level moves. It multiplies the drive of the zone's lights, in shares of light.

    steady : stays at `high`
    swell  : rises and falls in soft waves
    beat   : two quick strokes, then rest, as a heart does
    blink  : on and off
    ember  : irregular and slow, as glowing coals; of all embers of a prop one always glows
    glint  : low, with short bright moments now and then
    run    : a bright stretch runs along the lights of the zone, once from end to end in a period
    """

    zone: Name
    """Whose lights it moves."""
    pattern: Literal["steady", "swell", "beat", "blink", "ember", "glint", "run"]
    """How the level moves, of the list above."""
    period_s: Annotated[Number, Field(ge=0.02, le=3600)] = 4.0
    """Time of one round; for ember and glint, of a typical rise and fall."""
    phase: Share = 0.0
    """Share of a period by which it starts ahead."""
    stagger: Share = 0.0
    """Share of a period by which each light of the zone runs behind the one before it."""
    low: Share = 0.2
    """Level at the darkest, as a share of the drive."""
    high: Share = 1.0
    """Level at the brightest, as a share of the drive."""
    on_share: Annotated[Number, Field(gt=0, lt=1)] = 0.5
    """Share of a period that blink is on, or of its lights that a run's bright stretch is long."""
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = 0
    """Of the irregular patterns: the same seed gives the same course."""

    @model_validator(mode="after")
    def _low_is_below_high(self) -> Self:
        if self.low > self.high:
            raise _fault(
                f"low {self.low:g} is above high {self.high:g}; low is the darker of the two", "low"
            )
        return self


def pulse_fault(zones: set[str], pulses: tuple[Pulse, ...]) -> PydanticCustomError | None:
    """Return what is wrong with the pulses of a scene whose lights are in `zones`, if anything."""
    named = [pulse.zone for pulse in pulses]
    for number, zone in enumerate(named):
        at: tuple[str | int, ...] = ("pulses", number, "zone")
        if zone not in zones:
            return _fault(f"no light is in the zone '{zone}'{did_you_mean(zone, zones)}", *at)
        if zone in named[:number]:
            return _fault(f"the zone '{zone}' has a pulse already; a zone has one", *at)
    return None


def _fault(message: str, *at: str | int) -> PydanticCustomError:
    return PydanticCustomError("supply", "{message}", {"message": message, "at": at})
