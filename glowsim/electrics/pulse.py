"""How the levels of the zones move over time, and codes for a controller.

A level is a share of light, 0 to 1, that multiplies a light's drive. LEDs dimmed by switching give
light in proportion to the share of time they are on, so a level is that share too.
"""

from __future__ import annotations

import math
import zlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from glowsim.electrics.loads import LitBoard
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.colour import lightness, luminance_of_lightness
from glowsim.scene import Pulse

ROUNDS = 16
"""Periods after which the irregular patterns repeat."""
EMBER_BAND = (0.25, 3.0)
"""Band of the ember's noise, in rounds per period."""
FASTEST_EMBER_HZ = 2.0
"""Nothing in an ember moves faster than this, whatever its period (common practice: slow enough
to stay clear of three flashes a second)."""
EMBER_SLOPE = 0.75
"""Amplitude falls as frequency to this power: between 1/f light and that of steady flames."""
NEVER_DARK = 0.35
"""Of all embers of a prop the brightest never falls below this share of its range."""
SAMPLES_PER_PERIOD = 100


@dataclass(frozen=True)
class Member:
    """What moves as one: a zone, or one light of a zone whose pulse is staggered.

    name   : 'spikes', or 'spikes: spike 3';  lights : numbers of its lights in the glow
    number : its place in the zone, from 0;  count : of how many
    """

    name: str
    zone: str
    lights: tuple[int, ...]
    number: int
    pulse: Pulse | None
    count: int = 1


@dataclass(frozen=True)
class Course:
    """The levels of all members over time."""

    members: tuple[Member, ...]

    @property
    def moves(self) -> bool:
        """Whether anything moves at all."""
        return any(m.pulse is not None and m.pulse.pattern != "steady" for m in self.members)

    @property
    def cycle_s(self) -> float | None:
        """Time after which everything repeats [s]; None if that takes more than an hour."""
        cycles = [_cycle_s(m.pulse) for m in self.members if m.pulse]
        ms = math.lcm(*(max(1, round(1000 * c)) for c in cycles)) if cycles else 1000
        return ms / 1000 if ms <= 3_600_000 else None

    def levels(self, time_s: FloatArray) -> FloatArray:
        """Return the level of each member at times (t,), as (t, members) float, 0..1."""
        shapes = np.stack([_shape(m, time_s) for m in self.members], axis=1)
        embers = [k for k, m in enumerate(self.members) if m.pulse and m.pulse.pattern == "ember"]
        if embers:
            # Lifted together, the more the darker the brightest of them is: it never falls below
            # NEVER_DARK nor rises above 1, and the drift against each other stays.
            brightest = shapes[:, embers].max(axis=1, keepdims=True)
            shapes[:, embers] += NEVER_DARK * (1 - brightest)
        low = np.array([m.pulse.low if m.pulse else 1.0 for m in self.members])
        high = np.array([m.pulse.high if m.pulse else 1.0 for m in self.members])
        return low + (high - low) * shapes

    def mean_levels(self) -> FloatArray:
        """Return each member's level averaged over its own cycle, (members,) float."""
        means = np.ones(len(self.members))
        for pulse in dict.fromkeys(m.pulse for m in self.members if m.pulse):
            chosen = [k for k, m in enumerate(self.members) if m.pulse == pulse]
            cycle = _cycle_s(pulse)
            count = SAMPLES_PER_PERIOD * round(cycle / pulse.period_s)
            time_s = cycle * (np.arange(count) + 0.5) / count
            means[chosen] = self.levels(time_s)[:, chosen].mean(axis=0)
        return means

    def of_lights(self, values: FloatArray, light_count: int) -> FloatArray:
        """Spread values of the members, (..., members), over the lights, (..., lights)."""
        spread = np.ones((*values.shape[:-1], light_count))
        for k, member in enumerate(self.members):
            spread[..., list(member.lights)] = values[..., k, None]
        return spread


def course_of(boards: Sequence[LitBoard], pulses: Sequence[Pulse]) -> Course:
    """Return the members of a prop: every zone, apart into its lights where it is staggered.

    A pulse for a rule ('spike {copy}') is that of every zone of the rule without one of its own.
    """
    by_zone = {pulse.zone: pulse for pulse in pulses}
    members: list[Member] = []
    of_rule: dict[str, int] = {}
    rules = {board.zone: board.zone_rule for board in boards}
    many = Counter(rule for zone, rule in rules.items() if zone not in by_zone)
    for zone in rules:
        mine = [board for board in boards if board.zone == zone]
        lights = tuple(light for board in mine for light in board.lights)
        rule = mine[0].zone_rule
        pulse = by_zone.get(zone)
        if pulse is None and rule in by_zone:
            # One pulse for all zones of a rule: each zone moves as one, behind the one before it.
            number = of_rule[rule] = of_rule.get(rule, -1) + 1
            members.append(Member(zone, zone, lights, number, by_zone[rule], many[rule]))
        elif pulse is None or len(lights) == 1 or not (pulse.stagger or pulse.pattern == "run"):
            members.append(Member(zone, zone, lights, 0, pulse))
        else:
            members += [
                Member(f"{zone}: {name}", zone, (light,), k, pulse, len(lights))
                for k, (name, light) in enumerate(_named_lights(mine))
            ]
    return Course(tuple(members))


def _named_lights(boards: Sequence[LitBoard]) -> list[tuple[str, int]]:
    """Return every light of some boards with the shortest name that tells it from the others."""
    by_copy = Counter(board.copy for board in boards)
    named = []
    for board in boards:
        name = board.copy if by_copy[board.copy] == 1 else board.name
        alone = len(board.lights) == 1
        named += [
            (name if alone else f"{name}, LED {k + 1}", light)
            for k, light in enumerate(board.lights)
        ]
    return named


def _cycle_s(pulse: Pulse) -> float:
    return pulse.period_s * (ROUNDS if pulse.pattern in ("ember", "glint") else 1)


def _shape(member: Member, time_s: FloatArray) -> FloatArray:
    """Return where between low (0) and high (1) a member stands at times (t,)."""
    pulse = member.pulse
    if pulse is None or pulse.pattern == "steady":
        return np.ones_like(time_s)
    rounds = time_s / pulse.period_s + pulse.phase - pulse.stagger * member.number
    if pulse.pattern == "ember":
        return _ember(pulse, member, rounds)
    if pulse.pattern == "glint":
        return _glint(pulse, member, rounds)
    share = rounds % 1.0
    if pulse.pattern == "run":
        # As wide at half its height as the stretch is long: 2 sqrt(2 ln 2) deviations.
        return _bump(share - (member.number + 0.5) / member.count, pulse.on_share / 2.3548)
    if pulse.pattern == "swell":
        return (1 - np.cos(2 * np.pi * share)) / 2
    if pulse.pattern == "beat":
        return np.maximum(_bump(share - 0.12, 0.045), 0.65 * _bump(share - 0.36, 0.06))
    return (share < pulse.on_share).astype(float)


def _bump(share: FloatArray, width: float) -> FloatArray:
    """Return a soft stroke of height 1 at 0, repeated each round."""
    away = (share + 0.5) % 1.0 - 0.5
    return np.exp(-0.5 * (away / width) ** 2)


def _ember(pulse: Pulse, member: Member, rounds: FloatArray) -> FloatArray:
    """Return noise of a band of frequencies, between 0 and 1, often low and seldom high."""
    rng = _random(pulse, member)
    least, most = EMBER_BAND
    most = max(least, min(most, FASTEST_EMBER_HZ * pulse.period_s))
    turns = np.arange(max(1, round(ROUNDS * least)), max(1, round(ROUNDS * most)) + 1)
    weight = (turns / turns[0]) ** -EMBER_SLOPE
    phase = rng.uniform(0, 2 * np.pi, len(turns))
    waves = np.cos(2 * np.pi * np.multiply.outer(rounds / ROUNDS, turns) + phase) @ weight
    # The normal distribution's own scale: a sum of many waves comes near to it.
    return ndtr(waves / np.sqrt((weight**2).sum() / 2)) ** 1.5


def _glint(pulse: Pulse, member: Member, rounds: FloatArray) -> FloatArray:
    rng = _random(pulse, member)
    place = np.arange(ROUNDS) + rng.uniform(0.15, 0.85, ROUNDS)
    height = rng.uniform(0.5, 1.0, ROUNDS)
    height[rng.integers(ROUNDS)] = 1.0
    away = (rounds[:, None] - place + ROUNDS / 2) % ROUNDS - ROUNDS / 2
    return (height * np.exp(-0.5 * (away / 0.08) ** 2)).max(axis=1)


def _random(pulse: Pulse, member: Member) -> np.random.Generator:
    return np.random.default_rng([pulse.seed, zlib.crc32(pulse.zone.encode()), member.number])


# ---- codes for a controller -------------------------------------------------------------

DUTY_OF_CODE = np.round(255 * luminance_of_lightness(np.arange(256) / 255 * 100)).astype(np.uint8)
"""The 8-bit share of on-time for each 8-bit code whose equal steps look equal (CIE L*), (256,)."""


def codes_of(levels: FloatArray) -> np.ndarray:
    """Return the 8-bit codes of levels: CIE lightness, so that dark steps are as fine as bright
    ones; `DUTY_OF_CODE` takes them back to light."""
    return np.round(255 * lightness(levels) / 100).astype(np.uint8)
