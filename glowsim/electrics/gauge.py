"""One gauge for the wires behind the battery, with its three reasons: loss, current, fuse."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from glowsim.catalogue import Wire
from glowsim.electrics.harness import Harness, WireRun
from glowsim.electrics.wiring import drops_if_held_v, run_currents_ma, thinnest_wire
from glowsim.geometry.mesh import FloatArray


@dataclass(frozen=True)
class GaugeDecision:
    """The thinnest gauge that does throughout, and whether the scene's own wiring does.

    gauge       : None if no known wire does
    for_drop, for_current, for_fuse : thinnest gauge that each reason alone asks for, or None
    load_ma     : what all three are worked out for;  fuse_a : 0 without a fuse
    drop_v      : greatest loss of the wiring as drawn at that load;  limit_v : as the scene wants
    joints_v    : of that what joints alone lose
    faults      : what is wrong with the wiring as drawn, in words; empty if it may be built so
    """

    gauge: str | None
    for_drop: str | None
    for_current: str | None
    for_fuse: str | None
    load_ma: float
    fuse_a: float
    drop_v: float
    limit_v: float
    joints_v: float
    faults: tuple[str, ...]


def gauge_of(
    harness: Harness, board_ma: FloatArray, fuse_a: float, wires: Mapping[str, Wire]
) -> GaugeDecision:
    """Return the gauge for boards that draw (boards,) mA behind a fuse."""
    known = list(wires.items())
    unlimited = [(name, wire.model_copy(update={"open_air_a": 1e6})) for name, wire in known]
    carried_a = [abs(ma) / 1000 for ma in run_currents_ma(harness, board_ma)]
    most_a = max(carried_a)
    drop_v = float(drops_if_held_v(harness, board_ma).max())
    return GaugeDecision(
        thinnest_wire(harness, board_ma, known, fuse_a),
        thinnest_wire(harness, board_ma, unlimited),
        _bearing(wires, most_a),
        _bearing(wires, fuse_a),
        float(board_ma.sum()),
        fuse_a,
        drop_v,
        harness.drop_limit_v,
        float(drops_if_held_v(harness.without_copper(), board_ma).max()),
        tuple(_faults(harness, carried_a, fuse_a, drop_v)),
    )


def _bearing(wires: Mapping[str, Wire], current_a: float) -> str | None:
    return next((name for name, wire in wires.items() if wire.buried_a >= current_a), None)


def _faults(harness: Harness, carried_a: list[float], fuse_a: float, drop_v: float) -> list[str]:
    runs = harness.every_run
    faults = []
    hot = [run for run, amperes in zip(runs, carried_a, strict=True) if run.wire.buried_a < amperes]
    if hot:
        faults.append(
            f"{_gauges(hot)} carries up to {max(carried_a):.2f} A inside foam and is rated for "
            f"{min(run.wire.buried_a for run in hot):.2g} A there"
        )
    thin = [run for run in runs if run.wire.buried_a < fuse_a]
    if thin:
        faults.append(
            f"{_gauges(thin)} is rated for {min(run.wire.buried_a for run in thin):.2g} A inside "
            f"foam, less than the fuse of {fuse_a:g} A: in a short it burns before the fuse opens"
        )
    if drop_v > harness.drop_limit_v * (1 + 1e-9):
        faults.append(
            f"the voltage drop to a board is {drop_v:.2f} V, and its limit "
            f"{harness.drop_limit_v:g} V"
        )
    return faults


def _gauges(runs: list[WireRun]) -> str:
    return " and ".join(dict.fromkeys(run.gauge for run in runs))


def built(harness: Harness, decision: GaugeDecision, wires: Mapping[str, Wire]) -> Harness:
    """Return the wiring as it should be built: as drawn if it does, else no run thinner than the
    gauge that does."""
    if not decision.faults or decision.gauge is None:
        return harness
    gauge, wire = decision.gauge, wires[decision.gauge]
    return harness.rewired(
        lambda run: (
            run if run.wire.area_mm2 >= wire.area_mm2 else replace(run, gauge=gauge, wire=wire)
        )
    )
