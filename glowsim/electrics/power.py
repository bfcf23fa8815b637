"""The power of a whole prop: currents, batteries, wiring, fuse, data, in one report."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.catalogue import Wire
from glowsim.catalogue.cautions import Topic, caution
from glowsim.electrics.data_wires import cut_list
from glowsim.electrics.fuse import FuseAdvice, advised
from glowsim.electrics.gauge import GaugeDecision, built, gauge_of
from glowsim.electrics.harness import CutPiece, Harness, harness_of
from glowsim.electrics.loads import LitBoard, boards_of, in_one_piece
from glowsim.electrics.outputs import DataPlan, data_plan
from glowsim.electrics.pack import (
    BATTERY_STATES,
    Choice,
    Pack,
    judged,
    pack_of,
    usual_packs,
)
from glowsim.electrics.pulse import Course, course_of
from glowsim.electrics.wiring import (
    Circuit,
    State,
    drops_if_held_v,
    run_currents_ma,
)
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Converter, SceneFile
from glowsim.transport.plan import plan_of

SHOW_MOMENTS = 2000
LONGEST_SHOW = 64
"""Periods of the slowest pulse that are looked through, where nothing repeats before."""


@dataclass(frozen=True)
class Currents:
    """Currents of a board, a zone or the prop at full supply [mA].

    idle_ma : all dark;  average_ma, peak_ma : over the show's pulses, and at its brightest moment
    drawn_ma : everything at the level it is drawn at;  white_ma : every channel fully on
    """

    name: str
    zone: str
    boards: int
    leds: int
    idle_ma: float
    average_ma: float
    peak_ma: float
    drawn_ma: float
    white_ma: float


@dataclass(frozen=True)
class WiringReport:
    """How the wiring does on the scene's own supply, in the state it is worked out for.

    drawn, white : states as drawn and at full white, with boards that fade where starved
    held_drop_v  : (boards,) float, loss at full white if boards held their currents
    run_ma       : of every run at full white, held; below 0 where it flows towards its start
    gauge        : the one gauge for what the fuse is for;  built : the wiring to build, with no run
                   thinner than that where the scene's own does not do
    """

    harness: Harness
    drawn: State
    white: State
    held_drop_v: FloatArray
    run_ma: tuple[float, ...]
    gauge: GaugeDecision
    built: Harness


@dataclass(frozen=True, kw_only=True)
class PowerReport:
    """All there is to say about a prop's power.

    choice  : the scene's own battery, None if it names none;  choices : the usual ones
    supply  : what the wiring was solved with;  state_of_charge : and in which state, in words
    wanted_hours : how long it is to last, None where the scene does not say
    average_levels   : (boards, 3) float, drive on average over the pulses
    levels_over_time : (t, boards) float, levels of the pulses at moments of the whole show
    wiring  : None if the scene has no wiring
    """

    title: str
    boards: tuple[LitBoard, ...]
    average_levels: FloatArray
    levels_over_time: FloatArray
    zones: tuple[Currents, ...]
    total: Currents
    supply: Pack
    wanted_hours: float | None
    state_of_charge: str
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
        """The currents of each board or strip by itself."""
        average, over_time = np.asarray(self.average_levels), self.levels_over_time
        return tuple(
            _currents(
                self.boards[n[0]].whole,
                self.boards[n[0]].zone,
                tuple(self.boards[k] for k in n),
                average[list(n)],
                over_time[:, list(n)],
            )
            for n in in_one_piece(range(len(self.boards)), self.boards)
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

    def levels_over_time(self) -> FloatArray:
        """Return the levels of the boards at moments of the whole show, (t, boards) float."""
        slowest = max((m.pulse.period_s for m in self.course.members if m.pulse), default=1.0)
        cycle_s = self.course.cycle_s or np.inf
        time_s = np.linspace(0, min(cycle_s, LONGEST_SHOW * slowest), SHOW_MOMENTS, endpoint=False)
        return self.of_boards(self.course.levels(time_s))

    @property
    def total_drawn_ma(self) -> float:
        """Current of the whole prop as drawn, at full supply [mA]."""
        return sum(b.drawn_ma for b in self.boards)

    @property
    def state_of_charge(self) -> str:
        """The state of the battery that voltages are worked out for: 'half used'."""
        state = self.plan.scene_file.battery
        return state if state in BATTERY_STATES else "half used"

    @property
    def used(self) -> float:
        """The share of the battery's charge that is used in that state."""
        return BATTERY_STATES[self.state_of_charge]

    def state_drawn(self) -> State:
        """Return the state as drawn, the supply in its state of charge."""
        return self.circuit.state(self.supply.feed(self.used), self.drawn)


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
    possible: set[str] = {c.pack.battery.kind for c in choices if c.verdict != "no"}
    own_kind = electrics.own_pack.battery.kind if electrics.own_pack else None
    over_time = electrics.levels_over_time() if boards else np.ones((1, 0))
    total = _currents("whole prop", "", boards, average, over_time)
    fuse = _fuse(electrics, total) if boards else None
    wiring = _wiring(electrics, catalogue.wires, fuse) if electrics.harness else None
    data = electrics.data
    return PowerReport(
        title=electrics.plan.title,
        boards=boards,
        average_levels=average,
        levels_over_time=over_time,
        zones=_zones(boards, average, over_time),
        total=total,
        supply=electrics.supply,
        wanted_hours=wanted,
        state_of_charge=electrics.state_of_charge,
        choice=own,
        choices=choices,
        wiring=wiring,
        fuse=fuse,
        data=data,
        cut_list=cut_list(wiring.built if wiring else None, data.wires),
        course=electrics.course,
        notes=tuple(_notes(electrics)),
        cautions=(*_cautions(own_kind, possible), *_of_the_body(electrics)),
    )


def _cautions(own: str | None, possible: set[str]) -> tuple[str, ...]:
    """Return the cautions for wiring up boards to the scene's own kind of battery ('alkaline',
    ...), or without one for the kinds that may be taken."""
    topics: list[Topic] = ["sheet", "fuse", "polarity", "solder"]
    kinds = {own} if own else possible
    if "coin" in kinds:
        topics.insert(2, "coin")
    if kinds & {"alkaline"}:
        topics.insert(2, "alkaline")
    if kinds & {"lithium", "bank"}:
        topics.insert(2, "lithium")
    return tuple(caution(topic) for topic in topics)


def _of_the_body(electrics: Electrics) -> tuple[str, ...]:
    """Return the cautions for boards above the power that is flagged, and for what is worn."""
    scene = electrics.plan.scene_file.scene
    average = zip(electrics.boards, electrics.average_levels(), strict=True)
    watts = max((b.board.supply_v * b.current_ma(level) / 1000 for b, level in average), default=0)
    topics: list[Topic] = ["heat"] if watts > scene.findings.buried_power_w else []
    if scene.heat.contact in ("held", "worn"):
        topics.append("skin")
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
        notes.append(
            "the scene has no pulses: the average is that of a steady glow at your settings"
        )
    return notes


def _currents(
    name: str,
    zone: str,
    boards: tuple[LitBoard, ...],
    average: FloatArray,
    over_time: FloatArray,
) -> Currents:
    idle_ma = sum(b.idle_ma for b in boards)
    lit_ma = np.array([b.drawn_ma - b.idle_ma for b in boards])
    return Currents(
        name,
        zone,
        len({b.whole for b in boards}),
        sum(b.led_count for b in boards),
        idle_ma,
        sum(b.current_ma(level) for b, level in zip(boards, average, strict=True)),
        idle_ma + float((over_time @ lit_ma).max(initial=0.0)),
        sum(b.drawn_ma for b in boards),
        sum(b.white_ma for b in boards),
    )


def _zones(
    boards: tuple[LitBoard, ...], average: FloatArray, over_time: FloatArray
) -> tuple[Currents, ...]:
    rows = []
    for zone in dict.fromkeys(b.zone for b in boards):
        chosen = [n for n, b in enumerate(boards) if b.zone == zone]
        mine = tuple(boards[n] for n in chosen)
        rows.append(_currents(zone, zone, mine, average[chosen], over_time[:, chosen]))
    return tuple(rows)


def _wiring(electrics: Electrics, wires: dict[str, Wire], fuse: FuseAdvice | None) -> WiringReport:
    harness = electrics.harness
    assert harness is not None, "asked for a scene with wiring"
    feed = electrics.supply.feed(electrics.used)
    white_ma = np.array([b.white_ma for b in electrics.boards])
    drawn_ma = np.array([b.drawn_ma for b in electrics.boards])
    for_white = fuse is None or fuse.for_white
    gauge = gauge_of(
        harness, white_ma if for_white else drawn_ma, fuse.fuse_a if fuse else 0.0, wires
    )
    return WiringReport(
        harness,
        electrics.state_drawn(),
        electrics.circuit.state(feed, np.ones_like(electrics.drawn)),
        drops_if_held_v(harness, white_ma),
        tuple(run_currents_ma(harness, white_ma)),
        gauge,
        built(harness, gauge, wires),
    )


def _fuse(electrics: Electrics, total: Currents) -> FuseAdvice | None:
    """Return the fuse for full white if the supply bears that, else for the scene as drawn."""
    power = electrics.plan.scene_file.scene.power
    for_white = total.white_ma <= electrics.supply.max_current_ma or electrics.own_pack is None
    load_ma = total.white_ma if for_white else total.drawn_ma
    return advised(load_ma, for_white, power.fuse_rule if power else "IEC")
