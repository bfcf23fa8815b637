"""One data output: the boards behind it, how long a frame takes, and what its data are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.electrics.loads import LitBoard
from glowsim.electrics.pulse import Course
from glowsim.geometry.mesh import FloatArray

BIT_US = 1.25
"""One bit of the 800 kHz protocol; data sheets of addressable LEDs."""
SAMPLES = 500
"""Moments at which the levels of two boards are held beside each other."""
SAME = 1e-9
"""Levels that differ by less are the same data."""

Row = tuple[int, ...]
"""Numbers of boards one behind another, in the order the data pass them."""


@dataclass(frozen=True)
class DataOutput:
    """One output pin with the boards behind it.

    name      : what the controller calls it
    rows      : rows of boards side by side, which get the same data
    led_count : LEDs of one row, which a frame has to serve
    frame_ms  : time to send one frame, the pause after it included
    """

    name: str
    rows: tuple[Row, ...]
    led_count: int
    frame_ms: float
    zones: tuple[str, ...]

    @property
    def boards(self) -> Row:
        """All its boards, row after row."""
        return tuple(number for row in self.rows for number in row)

    @property
    def most_frames_per_second(self) -> float:
        """Frames it can send in a second."""
        return 1000 / self.frame_ms


def pin_words(name: str) -> str:
    """Return what to call an output: 'pin D5'; a plan's outputs are called 'pin 1' already."""
    return name if name.lower().startswith("pin ") else f"pin {name}"


def output_of(name: str, boards: Sequence[LitBoard], rows: Sequence[Row]) -> DataOutput:
    """Return the output that feeds some rows of boards."""
    longest = max(([boards[n] for n in row] for row in rows), key=frame_ms)
    zones = tuple(dict.fromkeys(boards[n].zone for row in rows for n in row))
    leds = sum(b.led_count for b in longest)
    return DataOutput(name, tuple(rows), leds, frame_ms(longest), zones)


def most_leds_per_output(frames_per_second: float) -> int:
    """Return how many LEDs of 24 bits, and 300 us to take a frame over, one output can serve."""
    free_us = 1e6 / frames_per_second - 300.0
    return max(0, math.floor(free_us / (24 * BIT_US) + 1e-9))


def frame_ms(boards: Sequence[LitBoard]) -> float:
    """Return the time to send one frame to boards one behind another [ms]."""
    if not boards:
        return 0.0
    bits = sum(b.board.data_bits * b.led_count for b in boards)
    return (bits * BIT_US + max(b.board.reset_us for b in boards)) / 1000


class Shown:
    """What each board shows over time: tells which rows may get the same data."""

    def __init__(self, boards: Sequence[LitBoard], course: Course) -> None:
        """Take the levels of all lights at moments spread over the slowest pulse's cycle."""
        self._boards = boards
        slowest = max((m.pulse.period_s for m in course.members if m.pulse), default=1.0)
        # Steps of the golden section meet no period twice at the same place.
        time_s = np.asarray(16 * slowest * (np.arange(SAMPLES) * 0.6180339887498949 % 1.0), float)
        lights = max((light for b in boards for light in b.lights), default=-1) + 1
        levels: FloatArray = course.levels(time_s) if boards else np.ones((1, 0))
        self._level = course.of_lights(levels, lights)

    def length(self, row: Row) -> tuple[tuple[int, int], ...]:
        """Return the LEDs and bits of a row's boards: rows side by side need the same."""
        return tuple((self._boards[n].led_count, self._boards[n].board.data_bits) for n in row)

    def apart(self, one: Row, other: Row) -> float:
        """Return how far the light of two rows of one length is apart: the root mean square over
        time, LEDs and channels, as a share of full drive."""
        pairs = zip(one, other, strict=True)
        return float(
            np.sqrt(np.mean([np.mean((self._of(a) - self._of(b)) ** 2) for a, b in pairs]))
        )

    def same(self, one: Row, other: Row) -> bool:
        """Return whether two rows show the same at any time, so that one output may feed both."""
        return self.length(one) == self.length(other) and self.apart(one, other) < SAME

    def _of(self, number: int) -> FloatArray:
        """Return the drive of a board's LEDs over time, (t, leds, 3) float."""
        board = self._boards[number]
        level = self._level[:, list(board.lights)]
        level = np.repeat(level, board.led_count // len(board.lights), axis=1)
        return level[:, :, None] * board.drive
