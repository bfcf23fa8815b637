"""Data to addressable boards: which boards hang on which output, how fast, how much memory."""

from __future__ import annotations

from dataclasses import dataclass, replace

from glowsim.electrics.data_line import (
    DataOutput,
    Row,
    Shown,
    frame_ms,
    most_leds_per_output,
)
from glowsim.electrics.data_wires import DataWire, data_wires
from glowsim.electrics.harness import Harness
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.pins import pins_toml, shared_outputs, written_outputs
from glowsim.electrics.pulse import Course
from glowsim.scene import SUPPLY, Controller
from glowsim.transport.plan import Plan

HIGH_SHARE = 0.7
"""Of its supply an LED takes as a high level at the least; data sheets of addressable LEDs."""
SMALL_MEMORY_BYTES = 2048
"""Of a small 8-bit controller."""


@dataclass(frozen=True)
class DataPlan:
    """All outputs, what they can do, and what to watch.

    written           : whether the scene says which pin feeds what; else this is a plan
    wires             : every data wire, output after output
    most_leds         : of 24 bits that one output can serve at the wanted frame rate
    memory_bytes      : for one frame of all outputs; twice that where the next is made meanwhile
    dimmed_channels   : channels of boards without a data line, which need a dimmer each
    sharing           : what a plan lets share a pin, in words;  as_toml : the plan for the scene
    """

    outputs: tuple[DataOutput, ...]
    written: bool
    wires: tuple[DataWire, ...]
    frames_per_second: float
    most_leds: int
    memory_bytes: int
    dimmed_channels: int
    sharing: tuple[str, ...]
    as_toml: str
    notes: tuple[str, ...] = ()


def data_plan(
    plan: Plan,
    boards: tuple[LitBoard, ...],
    harness: Harness | None,
    course: Course,
    highest_supply_v: float,
) -> DataPlan:
    """Return which boards hang on which output: as the scene's pins say, or a plan.

    In a plan the data wire runs beside the supply, so each branch of the wiring is an output of
    its own, and a branch too long for the frame rate is cut into several; with fewer outputs than
    that, some share. Raises SceneError for pins that cannot work.
    """
    controller = plan.scene_file.scene.controller
    shown = Shown(boards, course)
    sharing: tuple[str, ...] = ()
    branches = 0
    if controller.pins:
        outputs = written_outputs(plan, boards, shown)
    else:
        rows = [
            part
            for branch in _branches(boards, harness)
            for part in _parts(boards, branch, controller.frames_per_second)
        ]
        proposal = shared_outputs(boards, rows, shown, controller)
        outputs, sharing, branches = proposal.outputs, proposal.words, len(rows)
    made = DataPlan(
        outputs,
        bool(controller.pins),
        data_wires(plan, boards, harness, outputs),
        controller.frames_per_second,
        most_leds_per_output(controller.frames_per_second),
        sum(
            boards[n].led_count * boards[n].board.data_bits // 8 for o in outputs for n in o.rows[0]
        ),
        sum(1 if b.board.drive == "white" else 3 for b in boards if not b.board.data_bits),
        sharing,
        "" if controller.pins else pins_toml(boards, outputs),
    )
    return replace(made, notes=tuple(_notes(made, boards, branches, controller, highest_supply_v)))


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


def _parts(boards: tuple[LitBoard, ...], branch: list[int], frames_per_second: float) -> list[Row]:
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
    branches: int,
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
        f"{o.name} can send {o.most_frames_per_second:.0f} frames a second, not "
        f"{plan.frames_per_second:g}: its board alone has {o.led_count} LEDs."
        for o in slow
    ]
    if plan.sharing:
        notes.append(
            f"The wiring has {branches} branches and the controller {controller.outputs} outputs; "
            "so some share, same zone first, then the nearest pulses."
        )
        notes += plan.sharing
    if not plan.written and controller.outputs and len(plan.outputs) > controller.outputs:
        notes.append(
            f"{len(plan.outputs)} outputs are needed and the controller has {controller.outputs}: "
            "the rows that are left differ in length, or are too long together for the frame rate."
        )
    limit = controller.memory_bytes
    if limit and plan.memory_bytes > limit:
        notes.append(f"A frame takes {plan.memory_bytes} bytes; the controller has {limit}.")
    elif not limit and plan.memory_bytes > SMALL_MEMORY_BYTES * 3 // 4:
        notes.append(f"A frame takes {plan.memory_bytes} bytes: too much for a small controller.")
    shared = {o.name: o.zones for o in plan.outputs if len(o.zones) > 1 and len(o.rows) == 1}
    if shared:
        notes.append(
            "Zones are stretches of the data, not outputs: "
            + "; ".join(f"{name} serves {', '.join(z)}" for name, z in shared.items())
            + "."
        )
    if plan.dimmed_channels:
        notes.append(
            f"{plan.dimmed_channels} channels belong to boards without a data line: each zone of "
            "them needs a dimmed driver output per colour."
        )
    return notes
