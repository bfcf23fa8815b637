"""The power of a whole prop: currents, batteries, wiring, fuse, data, in one report."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.catalogue import Wire
from glowsim.catalogue.cautions import Topic, caution
from glowsim.electrics.data_wires import cut_list
from glowsim.electrics.harness import CutPiece, Harness, harness_of
from glowsim.electrics.loads import LitBoard, boards_of
from glowsim.electrics.outputs import DataPlan, data_plan
from glowsim.electrics.pack import Choice, Pack, judged, pack_of, usual_packs
from glowsim.electrics.pulse import Course, course_of
from glowsim.electrics.wiring import (
    Circuit,
    State,
    drops_if_held_v,
    run_currents_ma,
    thinnest_wire,
)
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Converter, SceneFile
from glowsim.transport.plan import plan_of
from glowsim.transport.result import SurfaceGlow

FUSES_A = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0)
"""Ratings of small cartridge fuses (R10 series, as IEC 60127 lists them; from memory)."""
FUSE_LOAD = 0.75
"""Share of its rating a fuse carries for long at 25 C (common rule for North American fuse types,
from memory)."""
HALF_USED = 0.5


@dataclass(frozen=True)
class Currents:
    """Currents of a board, a zone or the prop at full supply [mA]."""

    name: str
    zone: str
    boards: int
    leds: int
    idle_ma: float
    average_ma: float
    drawn_ma: float
    white_ma: float


@dataclass(frozen=True)
class FuseAdvice:
    """The fuse for a load, and the wire that bears it.

    load_ma    : what it has to carry;  for_white : whether that is full white, or as drawn
    wire       : thinnest gauge for every run behind it, inside foam
    too_thin   : gauges in the scene's wiring that the fuse does not protect
    """

    fuse_a: float
    load_ma: float
    for_white: bool
    wire: str | None
    too_thin: tuple[str, ...]


@dataclass(frozen=True)
class WiringReport:
    """How the wiring does on the scene's own supply, half used.

    drawn, white : states as drawn and at full white, with boards that fade where starved
    held_drop_v  : (boards,) float, loss at full white if boards held their currents
    run_ma       : of every run at full white, held; below 0 where it flows towards its start
    thinnest, thinnest_drawn : gauge that would keep the drop limit throughout and bear the fuse,
                   at full white and as drawn; None if none does
    joints_v     : part of the greatest loss that joints alone make
    """

    harness: Harness
    drawn: State
    white: State
    held_drop_v: FloatArray
    run_ma: tuple[float, ...]
    thinnest: str | None
    thinnest_drawn: str | None
    joints_v: float


@dataclass(frozen=True)
class PowerReport:
    """All there is to say about a prop's power.

    choice  : the scene's own battery, None if it names none;  choices : the usual ones
    supply  : what the wiring was solved with
    levels  : (boards, 3) float each: drawn, and on average over the pulses
    wiring  : None if the scene has no wiring
    """

    title: str
    boards: tuple[LitBoard, ...]
    average_levels: FloatArray
    zones: tuple[Currents, ...]
    total: Currents
    supply: Pack
    choice: Choice | None
    choices: tuple[Choice, ...]
    wiring: WiringReport | None
    fuse: FuseAdvice | None
    data: DataPlan
    cut_list: tuple[CutPiece, ...]
    course: Course
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def boards_alone(self) -> tuple[Currents, ...]:
        """The currents of each board by itself."""
        return tuple(
            _currents(b.name, b.zone, (b,), level[None])
            for b, level in zip(self.boards, self.average_levels, strict=True)
        )


class Electrics:
    """A scene's electrics made ready: boards, wiring, supply, pulses. Needs no glow."""

    def __init__(self, scene_file: SceneFile) -> None:
        """Look up and check all names; raises SceneError or MaterialError."""
        self.plan = plan_of(scene_file)
        scene = scene_file.scene
        self.boards = boards_of(self.plan)
        self.harness = harness_of(self.plan, self.boards)
        self.course = course_of(self.boards, scene.pulses)
        self.drawn = np.array([b.drive for b in self.boards]).reshape(-1, 3)
        self.own_pack = self._checked_pack()
        self.supply = self.own_pack or self._assumed()
        self.circuit = Circuit(self.boards, self.harness)
        self.data = data_plan(
            self.plan, self.boards, self.harness, self.course, self.supply.fresh_v
        )

    def _assumed(self) -> Pack:
        volts = self.boards[0].board.supply_v if self.boards else 5.0
        ideal = self.plan.catalogue.battery("power_bank_10000")
        return Pack("assumed", ideal, converter=Converter(output_v=volts, efficiency=1.0))

    def _checked_pack(self) -> Pack | None:
        """Return the scene's battery; raise SceneError if it is unknown or far too low."""
        power = self.plan.scene_file.scene.power
        if power is None:
            return None
        fault = self.plan.scene_file.fault
        if problem := self.plan.catalogue.fault("battery", power.battery):
            raise fault(("power", "battery"), problem)
        pack = pack_of(power, self.plan.catalogue)
        if pack.battery.output_v is not None and power.converter:
            raise fault(
                ("power", "converter"), "a power bank has its converter inside; leave this out"
            )
        if pack.battery.output_v is not None and power.in_series > 1:
            raise fault(("power", "in_series"), "power banks cannot be put in series")
        for lit in self.boards:
            if pack.fresh_v < lit.board.supply_min_v:
                raise fault(
                    ("power", "battery"),
                    f"{pack.label} gives {pack.fresh_v:.2f} V when full, below the "
                    f"{lit.board.supply_min_v:g} V that '{lit.kind}' needs at the least; put more "
                    "cells in series or add a converter",
                )
        return pack

    def of_boards(self, levels: FloatArray) -> FloatArray:
        """Return levels, (..., members), as means over each board, (..., boards)."""
        lights = max((light for b in self.boards for light in b.lights), default=-1) + 1
        of_light = self.course.of_lights(levels, lights)
        means = [of_light[..., list(board.lights)].mean(axis=-1) for board in self.boards]
        return np.stack(means, axis=-1) if means else np.zeros((*levels.shape[:-1], 0))

    def average_levels(self) -> FloatArray:
        """Return drive times mean level of the pulses per board, (boards, 3) float."""
        return self.drawn * self.of_boards(self.course.mean_levels())[:, None]

    @property
    def total_drawn_ma(self) -> float:
        """Current of the whole prop as drawn, at full supply [mA]."""
        return sum(b.drawn_ma for b in self.boards)

    def state_drawn(self) -> State:
        """Return the state as drawn, the supply half used."""
        return self.circuit.state(self.supply.feed(HALF_USED), self.drawn)

    def wired(self, glow: SurfaceGlow) -> tuple[SurfaceGlow, str]:
        """Return the glow as the wires let it be, and what to say about it ('' if unchanged).

        Every light gets the share of its full current that its board's voltage allows, as drawn,
        the battery half used.
        """
        if self.plan.scene_file.scene.wiring is None or not self.boards:
            return glow, ""
        state = self.state_drawn()
        share = np.ones((len(glow.lights), 3))
        for board, own in zip(self.boards, state.share, strict=True):
            share[list(board.lights)] = own
        worst = int(state.board_v.argmin())
        lost = 1 - state.share[worst][self.drawn[worst] > 0].min(initial=1.0)
        note = (
            f"drawn as wired: {state.board_v.max():.2f} V at the best board and "
            f"{state.board_v.min():.2f} V at the worst ({self.boards[worst].name}), battery half "
            f"used"
        )
        note += f"; its weakest colour loses {100 * lost:.0f} %" if lost > 0.005 else ""
        return glow.dimmed(share), note


def power_report(electrics: Electrics) -> PowerReport:
    """Work out everything about a prop's power."""
    boards = electrics.boards
    scene = electrics.plan.scene_file.scene
    average = electrics.average_levels()
    catalogue = electrics.plan.catalogue
    wanted = scene.power.wanted_hours if scene.power else None
    choices: tuple[Choice, ...] = ()
    own = None
    if boards:
        circuit = electrics.circuit
        usual = [pack for pack in usual_packs(catalogue) if pack != electrics.own_pack]
        choices = tuple(judged(pack, circuit, boards, average, wanted) for pack in usual)
        if electrics.own_pack:
            own = judged(electrics.own_pack, circuit, boards, average, wanted)
    shown: set[str] = {c.pack.battery.kind for c in (own, *choices) if c and c.verdict != "no"}
    total = _currents("whole prop", "", boards, average)
    wiring = _wiring(electrics, catalogue.wires) if electrics.harness else None
    data = electrics.data
    return PowerReport(
        electrics.plan.title,
        boards,
        average,
        _zones(boards, average),
        total,
        electrics.supply,
        own,
        choices,
        wiring,
        _fuse(electrics, total, catalogue.wires) if boards else None,
        data,
        cut_list(electrics.harness, data.wires),
        electrics.course,
        tuple(_notes(electrics)),
        _cautions(shown),
    )


def _cautions(kinds: set[str]) -> tuple[str, ...]:
    """Return the cautions for wiring up boards to batteries of some kinds ('lithium', ...)."""
    topics: list[Topic] = ["sheet", "fuse", "polarity", "solder"]
    if kinds & {"lithium", "bank"}:
        topics.insert(2, "lithium")
    return tuple(caution(topic) for topic in topics)


def _notes(electrics: Electrics) -> list[str]:
    notes = []
    scene = electrics.plan.scene_file.scene
    if scene.power is None:
        notes.append(
            f"the scene names no battery: {electrics.supply.fresh_v:g} V without sag is taken; "
            'add [power] with battery = "..."'
        )
    if scene.wiring is None:
        notes.append("the scene has no wiring: every board is taken to sit at the supply")
    if not scene.pulses:
        notes.append("the scene has no pulses: the average is that of a steady glow as drawn")
    return notes


def _currents(name: str, zone: str, boards: tuple[LitBoard, ...], average: FloatArray) -> Currents:
    return Currents(
        name,
        zone,
        len(boards),
        sum(b.led_count for b in boards),
        sum(b.idle_ma for b in boards),
        sum(b.current_ma(level) for b, level in zip(boards, average, strict=True)),
        sum(b.drawn_ma for b in boards),
        sum(b.white_ma for b in boards),
    )


def _zones(boards: tuple[LitBoard, ...], average: FloatArray) -> tuple[Currents, ...]:
    rows = []
    for zone in dict.fromkeys(b.zone for b in boards):
        chosen = [n for n, b in enumerate(boards) if b.zone == zone]
        rows.append(_currents(zone, zone, tuple(boards[n] for n in chosen), average[chosen]))
    return tuple(rows)


def _wiring(electrics: Electrics, wires: dict[str, Wire]) -> WiringReport:
    harness = electrics.harness
    assert harness is not None, "asked for a scene with wiring"
    boards = electrics.boards
    feed = electrics.supply.feed(HALF_USED)
    white_ma = np.array([b.white_ma for b in boards])
    drawn_ma = np.array([b.drawn_ma for b in boards])

    def thinnest(board_ma: FloatArray) -> str | None:
        fuse_a = fuse_for(float(board_ma.sum())) or np.inf
        return thinnest_wire(harness, board_ma, wires.items(), fuse_a)

    return WiringReport(
        harness,
        electrics.state_drawn(),
        electrics.circuit.state(feed, np.ones_like(electrics.drawn)),
        drops_if_held_v(harness, white_ma),
        tuple(run_currents_ma(harness, white_ma)),
        thinnest(white_ma),
        thinnest(drawn_ma),
        float(drops_if_held_v(harness.without_copper(), white_ma).max()),
    )


def fuse_for(load_ma: float) -> float | None:
    """Return the smallest fuse that carries a load for long [A]; None above the largest."""
    return next((a for a in FUSES_A if load_ma / 1000 <= FUSE_LOAD * a), None)


def _fuse(electrics: Electrics, total: Currents, wires: dict[str, Wire]) -> FuseAdvice | None:
    """Return the fuse for full white if the supply bears that, else for the scene as drawn."""
    for_white = total.white_ma <= electrics.supply.max_current_ma or electrics.own_pack is None
    load_ma = total.white_ma if for_white else total.drawn_ma
    fuse_a = fuse_for(load_ma)
    if fuse_a is None:
        return None
    wire = next((name for name, w in wires.items() if w.buried_a >= fuse_a), None)
    runs = electrics.harness.every_run if electrics.harness else ()
    too_thin = dict.fromkeys(run.gauge for run in runs if run.wire.buried_a < fuse_a)
    return FuseAdvice(fuse_a, load_ma, for_white, wire, tuple(too_thin))
