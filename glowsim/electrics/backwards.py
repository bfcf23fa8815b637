"""Battery and heat solved backwards: the level that lasts so long, and what it looks like."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from glowsim.electrics.heat import HeatReport
from glowsim.electrics.pack import Pack, RunTime, run_time
from glowsim.electrics.power import Electrics
from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray

LEAST_LEVEL = 1e-3
CLOSE = 0.003
"""How near a level is found, as a share of it."""
MOST_PARALLEL = 8
EYE_POWER = 1 / 3
"""Brightness of a glowing surface as the eye grades it goes with about the cube root of its
luminance (Stevens' power law for a field of some degrees; from memory)."""


@dataclass(frozen=True)
class Level:
    """A level for a prop, as a factor on everything as drawn (pulses kept).

    zone      : the one zone that it holds for, '' for all
    factor    : on the drive of the lights;  above 1 it is brighter than drawn
    run       : how long the scene's battery lasts with it, None without one
    light     : share of the light of the level as drawn, both as wired
    """

    zone: str
    factor: float
    run: RunTime | None
    light: float


def factors(electrics: Electrics, zone: str, factor: float) -> FloatArray:
    """Return the factor on each board, (boards, 1) float, for one zone or ('') for all."""
    chosen = [zone in ("", board.zone) for board in electrics.boards]
    return np.where(chosen, factor, 1.0)[:, None]


def level_at(electrics: Electrics, factor: float, zone: str = "") -> Level:
    """Return what a level comes to."""
    pack, share = electrics.own_pack, factors(electrics, zone, factor)
    levels = electrics.average_levels() * share
    run = run_time(pack, electrics.circuit, electrics.boards, levels) if pack else None
    return Level(zone, factor, run, _light(electrics, share) / _light(electrics, 1.0))


def level_for_hours(electrics: Electrics, hours: float, zone: str = "") -> Level:
    """Return the highest level that lasts so long on the scene's battery.

    All zones alike, or one zone with the others as drawn. Raises SceneError if there is no
    battery, no such zone, or if no level lasts so long, with what the dark chips alone allow.
    """
    pack, average = _own(electrics), electrics.average_levels()
    zones = dict.fromkeys(board.zone for board in electrics.boards)
    if zone and zone not in zones:
        raise SceneError(f"there is no zone '{zone}'; known: {', '.join(zones)}")

    def lasts(factor: float) -> float:
        levels = average * factors(electrics, zone, factor)
        return run_time(pack, electrics.circuit, electrics.boards, levels).hours

    most = brightest_factor(electrics, zone)
    if lasts(most) >= hours:
        return level_at(electrics, most, zone)
    longest = lasts(LEAST_LEVEL)
    if longest < hours:
        others = (
            f"with '{zone}' all but dark and the others at your settings"
            if zone
            else "all but dark"
        )
        raise SceneError(
            f"no level lasts {hours:g} h: {others}, {pack.label} lasts {longest:.1f} h"
            + _more_cells(electrics, hours, zone)
        )
    found = _falling(lasts, hours, LEAST_LEVEL, most)
    return level_at(electrics, found, zone)


def _falling(value: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Return where a falling function comes down to `wanted`, on its safe side."""

    def off(log_x: float) -> float:
        return float(np.log(max(value(float(np.exp(log_x))), 1e-9) / wanted))

    at = float(brentq(off, np.log(low), np.log(high), xtol=CLOSE, maxiter=60))
    while value(float(np.exp(at))) < wanted and at > np.log(low):
        at -= CLOSE
    return float(np.exp(at))


def brightest_factor(electrics: Electrics, zone: str = "") -> float:
    """Return the factor at which the brightest channel of the chosen boards is fully on."""
    mine = electrics.drawn[[zone in ("", board.zone) for board in electrics.boards]]
    greatest = float(mine.max(initial=0.0))
    return 1.0 / greatest if greatest > 0 else 1.0


def level_for_heat(electrics: Electrics, heat: HeatReport) -> Level:
    """Return the highest level, all zones alike, at which every board keeps its limits.

    What the dark chips draw stays; the rest goes with the level.
    """
    found = [board.allowed_level for board in heat.boards if board.power_w > board.idle_w]
    return level_at(electrics, min([*found, brightest_factor(electrics)]))


def _more_cells(electrics: Electrics, hours: float, zone: str) -> str:
    own = _own(electrics)
    levels = electrics.average_levels() * factors(electrics, zone, LEAST_LEVEL)
    for number in range(2, MOST_PARALLEL + 1):
        pack = replace(own, in_parallel=own.in_parallel * number)
        if run_time(pack, electrics.circuit, electrics.boards, levels).hours >= hours:
            return f"; {number} such packs side by side would be the least"
    return "; take a larger battery"


def _own(electrics: Electrics) -> Pack:
    if electrics.own_pack is None or not electrics.boards:
        what = "battery" if electrics.boards else "lights"
        raise SceneError(f"the scene has no {what}: there is no run time to work out ([power])")
    return electrics.own_pack


def _light(electrics: Electrics, share: FloatArray | float) -> float:
    """Return the light of the prop with a factor on its boards, as wired [lm]."""
    levels = electrics.drawn * share
    state = electrics.circuit.state(electrics.supply.feed(electrics.used), levels)
    flux = np.array([b.led_count * np.array(b.board.flux_lm) for b in electrics.boards])
    if electrics.boards and electrics.boards[0].board.drive == "white":
        flux = flux / 3
    return max(float((flux * levels * state.share).sum()), 1e-12)


def looks_words(light: float) -> str:
    """Return what a share of the light looks like beside the light as drawn."""
    eye = light**EYE_POWER
    if abs(light - 1) < 0.1:
        return "the eye sees no difference"
    if light > 1:
        return f"{light:.1f} times the light; to the eye about {eye:.1f} times as bright"
    grades = ((0.5, "much darker"), (0.7, "clearly darker"), (0.88, "a little darker"))
    grade = next((name for limit, name in grades if eye < limit), "hardly darker")
    percent = f"{100 * light:.0f}" if light >= 0.1 else f"{100 * light:.1g}"
    return f"{percent} % of the light; to the eye {grade}, about {100 * eye:.0f} % as bright"
