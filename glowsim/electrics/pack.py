"""Battery packs: what they give to the boards, for how long, and whether they should."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glowsim.catalogue import Battery, Catalogue
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.wiring import Circuit, Feed, State
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Converter, Power

HALF_USED = 0.5
BATTERY_STATES = {"fresh": 0.0, "half used": HALF_USED, "nearly empty": 0.9}
"""Share of the charge that is used, by what a maker calls it."""
FULL_VOLTAGE = "full voltage"
"""In place of a state of the battery: every board gets its full voltage."""
STEPS = 40
"""Parts into which the charge is cut."""
RANGE = (0.7, 1.1)
"""Of run-times: cells, cold and age take more than luck adds (common practice, no source)."""
SETTLED = 0.1
"""A cell off its charger has come down to its usual voltage when this share is used."""


@dataclass(frozen=True)
class Pack:
    """Cells in series and side by side, perhaps with a converter behind them."""

    key: str
    battery: Battery
    in_series: int = 1
    in_parallel: int = 1
    converter: Converter | None = None

    @property
    def label(self) -> str:
        """What to call it: '3 x AA alkaline cell'."""
        count = self.in_series * self.in_parallel
        name = f"{count} x {self.battery.label}" if count > 1 else self.battery.label
        if self.in_parallel > 1:
            name += f", {self.in_parallel} side by side"
        if self.converter and self.battery.output_v is None:
            name += f", converter to {self.converter.output_v:g} V"
        return name

    @property
    def mass_g(self) -> float | None:
        """Mass of its cells, without holder and converter; None where it is not known."""
        each = self.battery.mass_g
        return None if each is None else each * self.in_series * self.in_parallel

    @property
    def fresh_v(self) -> float:
        """Voltage at its plugs, full and without load."""
        return self.converter.output_v if self.converter else self.in_series * self.battery.fresh_v

    @property
    def max_current_ma(self) -> float:
        """What it bears for long at its plugs, at its usual voltage."""
        if self.battery.output_v is not None:
            return self.battery.max_current_ma * self.in_parallel
        cells = self.in_parallel * self.battery.max_current_ma
        if self.converter is None:
            return cells
        volts, _ = self.battery.rest_v_and_ohm(0.5)
        power = self.in_series * volts * cells * self.converter.efficiency
        return min(self.converter.max_current_ma, power / self.converter.output_v)

    def feed(self, used: float) -> Feed:
        """Return what it gives at its plugs with a share of its charge used."""
        if self.converter:
            return Feed(self.converter.output_v)
        volts, ohm = self.battery.rest_v_and_ohm(used)
        return Feed(self.in_series * volts, self.in_series * ohm / self.in_parallel)

    def cell_at(self, used: float, supply_v: float, supply_ma: float) -> tuple[float, float]:
        """Return voltage [V] and drain [mA] of one cell that feeds a current at the plugs.

        A cell that cannot give the power at all has voltage 0.
        """
        volts, ohm = self.battery.rest_v_and_ohm(used)
        if self.converter is None:
            drain = supply_ma / self.in_parallel
            return volts - drain / 1000 * ohm, drain
        watts = supply_v * supply_ma / 1000 / self.converter.efficiency
        watts /= self.in_series * self.in_parallel
        inside = volts**2 - 4 * ohm * watts
        if inside < 0:
            return 0.0, 1000 * volts / (2 * ohm)
        under_load = (volts + inside**0.5) / 2
        return under_load, 1000 * watts / under_load


@dataclass(frozen=True)
class RunTime:
    """How long a pack lasts at given levels.

    hours, low_hours, high_hours : until it ends, with the range to expect;  0 if it never works
    ends_by      : what ends it
    fades_hours  : when the first colours begin to lose light, None if never;  fades : which
    used         : share of its charge used by the end
    note         : where the capacity table does not reach
    """

    hours: float
    low_hours: float
    high_hours: float
    ends_by: str
    fades_hours: float | None
    fades: str
    used: float
    note: str


def run_time(
    pack: Pack, circuit: Circuit, boards: tuple[LitBoard, ...], levels: FloatArray
) -> RunTime:
    """Return how long a pack keeps all boards within their limits at average levels (boards, 3).

    Steps through the charge: at each step the wiring is solved for the pack's voltage and
    resistance there, and the capacity is that at the step's drain.
    """
    hours, used, ends_by, note = 0.0, 0.0, "the battery is empty", ""
    fades_hours, fades = None, ""
    for step in range(STEPS):
        share = (step + 0.5) / STEPS
        state = circuit.state(pack.feed(share), levels)
        cell_v, drain_ma = pack.cell_at(share, state.supply_v, state.supply_ma)
        reason = _why_it_ends(pack, state, boards, cell_v)
        if reason:
            ends_by = reason
            break
        if fades_hours is None and (faded := _faded(state, levels)):
            fades_hours, fades = hours, faded
        held_mah, remark = pack.battery.capacity_at_mah(drain_ma)
        note = note or remark
        hours += held_mah / max(drain_ma, 1e-6) / STEPS
        used = (step + 1) / STEPS
    least, most = RANGE
    return RunTime(hours, least * hours, most * hours, ends_by, fades_hours, fades, used, note)


def _why_it_ends(pack: Pack, state: State, boards: tuple[LitBoard, ...], cell_v: float) -> str:
    if cell_v < pack.battery.cutoff_v:
        return f"a cell falls below {pack.battery.cutoff_v:g} V under load"
    short = np.array([b.board.supply_min_v for b in boards]) - state.board_v
    worst = int(short.argmax())
    if short[worst] > 0:
        return (
            f"'{boards[worst].name}' gets less than the {boards[worst].board.supply_min_v:g} V "
            "its chips need"
        )
    return ""


def _faded(state: State, levels: FloatArray) -> str:
    """Return the colours of which some board that uses them holds less than 97 % of its light."""
    low = np.any((state.share < 0.97) & (levels > 0), axis=0)
    names = [
        name for name, is_low in zip(("red", "green", "blue"), low.tolist(), strict=True) if is_low
    ]
    return " and ".join(names)


def pack_of(power: Power, catalogue: Catalogue) -> Pack:
    """Return the pack a scene asks for; its battery must be known."""
    battery = catalogue.battery(power.battery)
    converter = power.converter or own_converter(battery)
    return Pack(power.battery, battery, power.in_series, power.in_parallel, converter)


def own_converter(battery: Battery) -> Converter | None:
    """Return the converter inside a power bank, None for a cell."""
    if battery.output_v is None:
        return None
    return Converter(
        output_v=battery.output_v,
        efficiency=battery.efficiency,
        max_current_ma=battery.max_current_ma,
    )


USUAL = (
    ("alkaline_aaa", 3, 1, None),
    ("alkaline_aa", 3, 1, None),
    ("alkaline_aa", 4, 1, None),
    ("nimh_aa", 3, 1, None),
    ("nimh_aa", 4, 1, None),
    ("lithium_pouch", 1, 1, None),
    ("lithium_18650", 1, 1, None),
    ("lithium_18650", 1, 1, 5.0),
    ("lithium_18650", 2, 1, 5.0),
    ("power_bank_5000", 1, 1, None),
    ("power_bank_10000", 1, 1, None),
    ("coin_20mm", 1, 1, None),
)
"""Packs people think of first: battery, in series, in parallel, converter's voltage."""


def usual_packs(catalogue: Catalogue) -> tuple[Pack, ...]:
    """Return the usual packs, to hold a scene's own against."""
    packs = []
    for key, series, parallel, volts in USUAL:
        battery = catalogue.battery(key)
        converter = Converter(output_v=volts) if volts else own_converter(battery)
        packs.append(Pack(key, battery, series, parallel, converter))
    return tuple(packs)


@dataclass(frozen=True)
class Choice:
    """A pack held against what the prop draws.

    verdict : 'yes', 'with care', 'too short' or 'no';  why : in words
    half, white : states half used, at the average and at full white
    average_ma, peak_ma : on average, and at full white if boards held their currents
    """

    pack: Pack
    run: RunTime
    half: State
    white: State
    verdict: str
    why: str
    average_ma: float
    peak_ma: float


def judged(
    pack: Pack,
    circuit: Circuit,
    boards: tuple[LitBoard, ...],
    average: FloatArray,
    wanted_hours: float | None = None,
) -> Choice:
    """Hold a pack against boards driven at average levels (boards, 3), and at full white."""
    run = run_time(pack, circuit, boards, average)
    half = circuit.state(pack.feed(0.5), average)
    white = circuit.state(pack.feed(0.5), np.ones_like(average))
    held_ma = float(sum(b.current_ma(levels) for b, levels in zip(boards, average, strict=True)))
    peak_ma = float(sum(b.white_ma for b in boards))
    choice = Choice(pack, run, half, white, "yes", "", held_ma, peak_ma)
    verdict, why = _verdict(choice, boards, wanted_hours)
    return replace(choice, verdict=verdict, why=why)


def _verdict(
    choice: Choice, boards: tuple[LitBoard, ...], wanted_hours: float | None
) -> tuple[str, str]:
    limit_v = min(b.board.supply_max_v for b in boards)
    refused = _refusal(choice, limit_v)
    if refused:
        return "no", refused
    cares = []
    falls_short = wanted_hours is not None and choice.run.hours < wanted_hours
    if falls_short:
        cares.append(f"falls short of the {wanted_hours:g} h wanted: {choice.run.ends_by}")
    elif wanted_hours is not None and choice.run.low_hours < wanted_hours:
        cares.append(f"may fall short of the {wanted_hours:g} h wanted")
    cares += _cares(choice, limit_v)
    verdict = "too short" if falls_short else "with care" if cares else "yes"
    return verdict, "; ".join(cares)


def _refusal(choice: Choice, limit_v: float) -> str:
    """Return why a pack cannot be used at all, or ''."""
    bears = choice.pack.max_current_ma
    settled_v = choice.pack.feed(SETTLED).rest_v
    if settled_v > limit_v:
        return f"{settled_v:.1f} V is above the {limit_v:g} V limit of the boards"
    if choice.average_ma > bears:
        return (
            f"cannot carry the load: {_amps(choice.average_ma)} on average, and its limit is "
            f"{_amps(bears)}"
        )
    if choice.run.hours == 0:
        return f"cannot carry the load: {choice.run.ends_by} at once"
    return ""


def _cares(choice: Choice, limit_v: float) -> list[str]:
    """Return what to watch with a pack that works."""
    pack, run, bears = choice.pack, choice.run, choice.pack.max_current_ma
    cares = []
    if pack.fresh_v > limit_v:
        cares.append(
            f"{pack.fresh_v:.1f} V just charged is above {limit_v:g} V: let it rest first, or put "
            "a diode in series"
        )
    if choice.peak_ma > bears:
        cares.append(f"never full white: {_amps(choice.peak_ma)}, its limit {_amps(bears)}")
    if run.fades_hours is not None:
        when = f"after {run.fades_hours:.1f} h" if run.fades_hours > 0 else "from the start"
        cares.append(f"{run.fades} begin{'' if ' and ' in run.fades else 's'} to fade {when}")
    if choice.average_ma < pack.battery.shuts_off_below_ma:
        cares.append(f"may switch off: it wants {pack.battery.shuts_off_below_ma:g} mA or more")
    return cares


def _amps(current_ma: float) -> str:
    return f"{current_ma:.0f} mA" if current_ma < 1000 else f"{current_ma / 1000:.1f} A"
