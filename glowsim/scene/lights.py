"""The lights of a body: boards and strips, where they stand and how far they are turned up."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from glowsim.scene.fields import (
    Count,
    Direction,
    Mm,
    Name,
    Number,
    PointMm,
    PositiveMm,
    Share,
    Strict,
)
from glowsim.scene.paths import PathAlong, PathInside


class Drive(Strict):
    """How far each colour is turned up: 1 is full, as a share of light, not of control code."""

    red: Share = 1.0
    """Share of full red."""
    green: Share = 1.0
    """Share of full green."""
    blue: Share = 1.0
    """Share of full blue."""
    white: Share = 1.0
    """For boards with a single white channel."""


PATHS = ("path_mm", "path_inside", "path_along")
"""Keys that say where what lies along a path runs."""
COPY_MARK = "{copy}"
"""In the name of a zone: the number of the copy, from 1."""


class Light(Strict):
    """A light board inside a body, in the body's own frame."""

    name: Name | None = None
    """As findings and the sheet call it."""
    board: str
    """A light board from the catalogue, or your own."""
    position_mm: PointMm = (0.0, 0.0, 0.0)
    """The middle of its LEDs' faces, in the body's frame."""
    path_mm: Annotated[tuple[PointMm, ...], Field(min_length=2, max_length=500)] | None = None
    """For a strip or a chain of boards, in place of `position_mm`: points it runs along. A strip
    begins with its first LED's end, is followed as flat pieces, cut mark to cut mark, and needs
    `led_count`; a chain begins with the middle of its first board and needs `board_count`,
    `pitch_mm` or both."""
    path_inside: PathInside | None = None
    """In place of `path_mm`: along the inside wall of a hollow body at one height, as
    { height_mm = 30, from_deg = 180, to_deg = 360 }; what lies there faces away from the wall
    unless `facing` says otherwise."""
    path_along: PathAlong | None = None
    """In place of `path_mm`: along an edge of the body, as { edge = "rim", inside_mm = 8 } for the
    rim of an opening, or { edge = "sharp", near_mm = [0, -6, 80], inside_mm = 6, depth_mm = 6 }
    beneath the front of a blade; what lies there faces away from the wall of a hollow, and toward
    the surface it is beneath, unless `facing` says otherwise."""
    path_smooth: bool = True
    """Whether the path bends smoothly through the points, or runs straight between them (a strip is
    cut and wired at the corners)."""
    board_count: Count | None = None
    """Of a chain: how many boards lie along the path, wired one to the next, as `board_count = 8`.
    Left out, as many as find room on it `pitch_mm` apart."""
    pitch_mm: PositiveMm | None = None
    """Of a chain: from board to board along the path, and the wire between them, as
    `pitch_mm = 40`. Left out, `board_count` boards are spread evenly from end to end of the path,
    or all round a closed one."""
    start_mm: Annotated[Mm, Field(ge=0)] = 0.0
    """How far along its path a strip begins, at its first LED's end, or a chain, at the middle of
    its first board; `glowsim place` slides it. Round a closed path it may run on past where the
    path begins."""
    facing: Literal["direction", "outward", "inward", "from_wall", "to_wall"] = "direction"
    """Where what lies along a path faces: `direction` (a strip the nearest it can to it); away from
    the middle of its path, or towards that; away from the inside wall of its hollow body, or
    towards that (with `path_along`, from the surface that its edge is of)."""
    least_bend_mm: PositiveMm = 10.0
    """Radius that the strip may be bent to at the tightest (common practice for bare strips)."""
    direction: Direction = (0.0, 0.0, 1.0)
    """Where the board faces."""
    along: Direction | None = None
    """Where a strip runs, or how a board is turned about its direction."""
    led_count: Count | None = None
    """LEDs used of a strip."""
    drive: Drive = Drive()
    """How far each colour is turned up."""
    drives: Annotated[tuple[Drive, ...], Field(min_length=1, max_length=2000)] | None = None
    """Of a strip, in place of `drive`: the colour of each LED in their order, over again where
    there are more LEDs; of a chain, of each board."""
    drive_to: Drive | None = None
    """Of a strip, the colour of its last LED; from `drive` at its first the others blend into it,
    in even steps of light. Of a chain, of its last board."""
    channel_current_ma: Annotated[Number, Field(gt=0, le=5000)] | None = None
    """Measured current per channel and LED; brightness follows it in proportion."""
    zone: Name = "all"
    """What is switched and moved as one. '{copy}' in it stands for the number of the copy, so that
    every copy of a pattern has a zone of its own."""
    zones: tuple[Name, ...] = ()
    """In place of `zone`: one zone for each copy of the pattern, in their order."""
    separate_leds: bool = False
    """Treat each LED as a light of its own, so that findings and pulses can tell them apart."""

    @model_validator(mode="after")
    def _one_colouring(self) -> Self:
        if self.drives is None and self.drive_to is None:
            return self
        if self.drives is not None and {"drive", "drive_to"} & self.model_fields_set:
            raise ValueError("drives says the colour of each LED: leave out drive and drive_to")
        if self.led_count is None and not self.is_chain:
            raise ValueError("colours LED by LED are for strips: give led_count")
        return self

    @property
    def led_by_led(self) -> bool:
        """Whether its LEDs have colours of their own."""
        return self.drives is not None or self.drive_to is not None

    def drive_of(self, led: int) -> Drive:
        """Return the colour of one LED of a strip, counted from 0."""
        if self.drives is not None:
            return self.drives[led % len(self.drives)]
        if self.drive_to is None:
            return self.drive
        share = led / max(1, (self.board_count or self.led_count or 1) - 1)
        first, last = self.drive.model_dump(), self.drive_to.model_dump()
        return Drive(**{k: (1 - share) * first[k] + share * last[k] for k in first})

    @model_validator(mode="after")
    def _stands_somewhere(self) -> Self:
        placed = "position_mm" in self.model_fields_set
        if not self.runs_along and not placed:
            raise PydanticCustomError(
                "no_place", "this key is needed but missing", {"at": ("position_mm",)}
            )
        if not self.runs_along:
            for key in ("start_mm", "board_count", "pitch_mm"):
                if getattr(self, key):
                    raise ValueError(
                        f"{key} is for what lies along a path: give path_mm, path_inside or "
                        "path_along"
                    )
            return self
        key, *others = (name for name in PATHS if getattr(self, name) is not None)
        if others:
            raise ValueError(f"{key} and {others[0]} both say where the strip runs: leave one out")
        if placed or self.along is not None:
            raise ValueError(f"{key} says where the strip runs: leave out position_mm and along")
        if self.is_chain and self.led_count is not None:
            raise ValueError(
                "led_count is for a strip, board_count and pitch_mm are for a chain of boards: "
                "leave out the one or the others"
            )
        if self.led_count is None and not self.is_chain:
            raise ValueError(
                f"{key} needs led_count: how many LEDs the strip is cut to; a chain of boards "
                "needs board_count or pitch_mm"
            )
        return self

    @property
    def runs_along(self) -> bool:
        """Whether it lies along a path."""
        return self.path_key is not None

    @property
    def path_key(self) -> str | None:
        """The key that says where it runs; None for what stands at a place of its own."""
        return next((key for key in PATHS if getattr(self, key) is not None), None)

    @property
    def runs_by_body(self) -> bool:
        """Whether the points of its path are known only from its body."""
        return self.path_inside is not None or self.path_along is not None

    @property
    def on_inside_wall(self) -> bool:
        """Whether it is stuck to the inside wall of its body."""
        rim = self.path_along is not None and self.path_along.edge == "rim"
        return rim or self.path_inside is not None

    @property
    def is_chain(self) -> bool:
        """Whether it is a chain of boards along a path, in place of a strip."""
        return self.board_count is not None or self.pitch_mm is not None

    @property
    def wanted_facing(self) -> str:
        """Where what lies along a path faces, as the scene says it or as its path has it."""
        if not self.runs_by_body or {"facing", "direction"} & self.model_fields_set:
            return self.facing
        return "from_wall" if self.on_inside_wall else "to_wall"

    def scaled(self, factor: float) -> Light:
        """Return it in a body of other size: where it is, but along the edge that is then there."""
        along = self.path_along
        return (
            self if along is None else self.model_copy(update={"path_along": along.scaled(factor)})
        )

    def zone_of(self, copy: int) -> str:
        """Return the zone of this light in a copy of its body, counted from 0."""
        return self.zones[copy] if self.zones else self.zone.replace(COPY_MARK, str(copy + 1))


class StripPiece(Light):
    """One LED of a strip along a path, on its flat piece, or one board of a chain; made of a
    `Light`, never read."""

    strip: int
    """Number of the strip or chain within its body."""
    strip_name: str
    """Of the whole strip or chain."""
    chained: bool = False
    """Whether it is a board of a chain."""
    runs: str = ""
    """Where its path runs, and from where, in words."""
    way_mm: Number
    """How far along the path its middle is."""
    length_mm: Number
    """Of the piece, a little less than from cut mark to cut mark where the strip bends; of a chain,
    along the path from the board before, 0 for its first."""
