"""Data to addressable boards: which boards hang on which output, how fast, how much memory."""

from __future__ import annotations

import math
from dataclasses import dataclass

from glowsim.electrics.harness import Harness
from glowsim.electrics.loads import LitBoard
from glowsim.scene import SUPPLY, Controller

BIT_US = 1.25
"""One bit of the 800 kHz protocol; data sheets of addressable LEDs."""
HIGH_SHARE = 0.7
"""Of its supply an LED takes as a high level at the least; data sheets of addressable LEDs."""
SMALL_MEMORY_BYTES = 2048
"""Of a small 8-bit controller."""


@dataclass(frozen=True)
class DataOutput:
    """One output pin with the boards behind it, in the order the data passes them.

    frame_ms : time to send one frame, the pause after it included
    """

    number: int
    boards: tuple[int, ...]
    led_count: int
    frame_ms: float
    zones: tuple[str, ...]

    @property
    def most_frames_per_second(self) -> float:
        """Frames it can send in a second."""
        return 1000 / self.frame_ms


@dataclass(frozen=True)
class DataPlan:
    """All outputs, what they can do, and what to watch.

    most_leds         : of 24 bits that one output can serve at the wanted frame rate
    memory_bytes      : for one frame of all LEDs; twice that where the next is made meanwhile
    dimmed_channels   : channels of boards without a data line, which need a dimmer each
    """

    outputs: tuple[DataOutput, ...]
    frames_per_second: float
    most_leds: int
    memory_bytes: int
    dimmed_channels: int
    notes: tuple[str, ...]


def most_leds_per_output(
    frames_per_second: float, bits_per_led: int = 24, reset_us: float = 280.0
) -> int:
    """Return how many LEDs one output can serve at a frame rate."""
    free_us = 1e6 / frames_per_second - reset_us
    return max(0, math.floor(free_us / (bits_per_led * BIT_US) + 1e-9))


def frame_ms(boards: list[LitBoard]) -> float:
    """Return the time to send one frame to boards on one output [ms]."""
    if not boards:
        return 0.0
    bits = sum(b.board.data_bits * b.led_count for b in boards)
    return (bits * BIT_US + max(b.board.reset_us for b in boards)) / 1000


def data_plan(
    boards: tuple[LitBoard, ...],
    harness: Harness | None,
    controller: Controller,
    highest_supply_v: float,
) -> DataPlan:
    """Return which boards hang on which output.

    The data wire runs beside the supply, so each branch of the wiring is an output of its own, and
    a branch too long for the frame rate is cut into several.
    """
    outputs: list[DataOutput] = []
    for branch in _branches(boards, harness):
        for part in _parts(boards, branch, controller.frames_per_second):
            mine = [boards[n] for n in part]
            zones = tuple(dict.fromkeys(b.zone for b in mine))
            leds = sum(b.led_count for b in mine)
            outputs.append(DataOutput(len(outputs) + 1, part, leds, frame_ms(mine), zones))
    memory = sum(b.led_count * b.board.data_bits // 8 for b in boards)
    dimmed = sum(1 if b.board.drive == "white" else 3 for b in boards if not b.board.data_bits)
    plan = DataPlan(
        tuple(outputs),
        controller.frames_per_second,
        most_leds_per_output(controller.frames_per_second),
        memory,
        dimmed,
        (),
    )
    notes = tuple(_notes(plan, boards, harness, controller, highest_supply_v))
    return DataPlan(
        plan.outputs, plan.frames_per_second, plan.most_leds, plan.memory_bytes, dimmed, notes
    )


def _branches(boards: tuple[LitBoard, ...], harness: Harness | None) -> list[list[int]]:
    """Return the boards along each branch of the wiring, (in the order of the data)."""
    if harness is None:
        return [[n for n, b in enumerate(boards) if b.board.data_bits]]
    chain_of: dict[str, list[int]] = {}
    branches: list[list[int]] = []
    continued = set()
    for run in harness.runs:
        mine = [n for n in run.boards if boards[n].board.data_bits]
        before = chain_of.get(run.start)
        if before is not None and run.start != SUPPLY and run.start not in continued:
            # The first run that leaves a point goes on with the data that reached it.
            chain = before
            continued.add(run.start)
        else:
            chain = []
            branches.append(chain)
        chain += mine
        chain_of[run.end] = chain
    return [branch for branch in branches if branch]


def _parts(
    boards: tuple[LitBoard, ...], branch: list[int], frames_per_second: float
) -> list[tuple[int, ...]]:
    parts: list[list[int]] = [[]]
    for number in branch:
        tried = [boards[n] for n in (*parts[-1], number)]
        if parts[-1] and frame_ms(tried) > 1000 / frames_per_second:
            parts.append([])
        parts[-1].append(number)
    return [tuple(part) for part in parts if part]


def _notes(
    plan: DataPlan,
    boards: tuple[LitBoard, ...],
    harness: Harness | None,
    controller: Controller,
    highest_supply_v: float,
) -> list[str]:
    notes = []
    need_v = HIGH_SHARE * highest_supply_v
    if plan.outputs and controller.logic_v < need_v and not controller.level_shifter:
        notes.append(
            f"Logic level: the boards want {HIGH_SHARE:g} x {highest_supply_v:.2f} V = "
            f"{need_v:.2f} V for a high bit and the controller gives {controller.logic_v:g} V. It "
            f"is within the data sheet only where the first board has "
            f"{controller.logic_v / HIGH_SHARE:.2f} V or less: use a level shifter, or feed the "
            "first board a little lower."
        )
    slow = [o for o in plan.outputs if o.most_frames_per_second < plan.frames_per_second]
    notes += [
        f"Output {o.number} can send {o.most_frames_per_second:.0f} frames a second, not "
        f"{plan.frames_per_second:g}: its board alone has {o.led_count} LEDs."
        for o in slow
    ]
    if controller.outputs and len(plan.outputs) > controller.outputs:
        notes.append(
            f"The wiring has {len(plan.outputs)} branches and the controller {controller.outputs} "
            "outputs. Branches that show the same may share one; or lead the data back from the "
            "end of a branch to the start of the next with one more wire."
        )
    limit = controller.memory_bytes
    if limit and plan.memory_bytes > limit:
        notes.append(f"A frame takes {plan.memory_bytes} bytes; the controller has {limit}.")
    elif not limit and plan.memory_bytes > SMALL_MEMORY_BYTES * 3 // 4:
        notes.append(f"A frame takes {plan.memory_bytes} bytes: too much for a small controller.")
    shared = {o.number: o.zones for o in plan.outputs if len(o.zones) > 1}
    if shared:
        notes.append(
            "Zones are stretches of the data, not outputs: "
            + "; ".join(f"output {n} serves {', '.join(z)}" for n, z in shared.items())
            + "."
        )
    if plan.dimmed_channels:
        notes.append(
            f"{plan.dimmed_channels} channels belong to boards without a data line: each zone of "
            "them needs a dimmed driver output per colour."
        )
    return notes
