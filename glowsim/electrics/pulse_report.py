"""What a pulse does over a stretch of time: levels, currents, whether it repeats without a seam."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.electrics.as_wired import supply_words
from glowsim.electrics.pack import BATTERY_STATES, FULL_VOLTAGE
from glowsim.electrics.power import Electrics
from glowsim.electrics.pulse import Course, Member
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Pulse
from glowsim.transport.result import SurfaceGlow

LEAST_FLASH_RATE = 25.0
"""Frames a second at which flashes are counted at the least."""
MOST_FLASH_FRAMES = 6000


@dataclass(frozen=True, kw_only=True)
class PulseReport:
    """A stretch of a prop's pulses.

    time_s      : (t,) float;  levels : (t, members) float
    mean_levels : (members,) float, over whole cycles;  colours : (members, 3), drive at level 1
    light       : (t,) float, light of the whole prop as a share of that as drawn
    current_ma  : (t,) float, at full supply;  average_ma, drawn_ma, idle_ma : of the whole prop
    limit_ma    : what the scene's battery bears for long, None without one
    seamless    : whether the stretch repeats without a jump
    """

    course: Course
    seconds: float
    frames_per_second: float
    time_s: FloatArray
    levels: FloatArray
    mean_levels: FloatArray
    colours: FloatArray
    light: FloatArray
    current_ma: FloatArray
    average_ma: float
    drawn_ma: float
    idle_ma: float
    limit_ma: float | None
    seamless: bool

    @property
    def moments(self) -> dict[str, tuple[float, float]]:
        """The darkest and the brightest moment, and that of most current: time [s] and value."""
        found = {
            "darkest": (int(self.light.argmin()), self.light),
            "brightest": (int(self.light.argmax()), self.light),
            "most current": (int(self.current_ma.argmax()), self.current_ma),
        }
        return {name: (float(self.time_s[k]), float(of[k])) for name, (k, of) in found.items()}

    @property
    def moving(self) -> tuple[Member, ...]:
        """The members that have a pulse."""
        return tuple(m for m in self.course.members if m.pulse is not None)

    @property
    def moving_levels(self) -> FloatArray:
        """Levels of these, (t, moving) float."""
        chosen = [k for k, m in enumerate(self.course.members) if m.pulse is not None]
        return self.levels[:, chosen]

    def levels_for_flashes(self) -> tuple[float, FloatArray]:
        """Return frames a second that miss no stroke, and the levels of the moving members.

        At most MOST_FLASH_FRAMES of them: of a longer stretch its beginning.
        """
        fastest = max((_strokes_per_second(m.pulse) for m in self.moving if m.pulse), default=0.0)
        wanted = max(LEAST_FLASH_RATE, fastest)
        rate = self.frames_per_second * max(1, int(np.ceil(wanted / self.frames_per_second)))
        count = min(max(2, round(self.seconds * rate)), MOST_FLASH_FRAMES)
        chosen = [k for k, m in enumerate(self.course.members) if m.pulse is not None]
        return rate, self.course.levels(np.arange(count) / rate)[:, chosen]


def _strokes_per_second(pulse: Pulse) -> float:
    """Return how often to look so that every bright and every dark moment is met twice."""
    part = min(pulse.on_share, 1 - pulse.on_share)
    shortest = {"blink": part, "run": part, "beat": 0.1, "steady": np.inf}
    return 2 / (pulse.period_s * shortest.get(pulse.pattern, 0.25))


def current_ma(electrics: Electrics, levels: FloatArray) -> FloatArray:
    """Return the current of the whole prop, (t,) [mA], at levels of the members, (t, members)."""
    boards = electrics.boards
    current = np.full(len(levels), sum(b.idle_ma for b in boards))
    for board, level in zip(boards, electrics.of_boards(levels).T, strict=True):
        current += float(np.sum(board.channel_ma * board.drive)) * level
    return current


def _light(electrics: Electrics, levels: FloatArray) -> FloatArray:
    """Return the light of the whole prop, (t,), as a share of that as drawn."""
    lumen = np.array(
        [b.led_count * float(np.dot(b.board.flux_lm, b.drive)) for b in electrics.boards]
    )
    total = lumen.sum()
    return electrics.of_boards(levels) @ lumen / total if total > 0 else np.ones(len(levels))


def levels_as_wired(electrics: Electrics, report: PulseReport, glow: SurfaceGlow) -> FloatArray:
    """Return the levels of the moving members as the wires let each moment be, (t, moving).

    They multiply a glow that already has the loss of full levels (`as_wired.wired`): when less
    is drawn less is lost, and a member gives more lumens than its level says. The wiring is
    solved for every moment; how the loss falls on the boards and colours of one member stays as
    at full levels, and so do the lights that don't move.

    glow : without any loss
    """
    scene_file = electrics.plan.scene_file
    lossless = scene_file.battery == FULL_VOLTAGE or not supply_words(scene_file)
    if lossless or not report.moving:
        return report.moving_levels
    boards = electrics.boards
    flux_lm = np.array([light.flux_lm * light.drive for light in glow.lights])
    feed = electrics.supply.feed(BATTERY_STATES[scene_file.battery])

    def given_lm(level: FloatArray) -> list[float]:
        """Return the lumens of each moving member at full level, as the moment's wires let it."""
        share = electrics.circuit.state(feed, electrics.drawn * level[:, None]).share
        lit = np.ones_like(flux_lm)
        for board, own in zip(boards, share, strict=True):
            lit[list(board.lights)] = own
        return [float((flux_lm * lit)[list(member.lights)].sum()) for member in report.moving]

    full = np.array(given_lm(np.ones(len(boards))))
    now = np.array([given_lm(level) for level in electrics.of_boards(report.levels)])
    return report.moving_levels * np.where(full > 0, now / np.maximum(full, 1e-300), 1.0)


def pulse_report(electrics: Electrics, *, seconds: float, frames_per_second: float) -> PulseReport:
    """Work out the pulses of a scene over some seconds."""
    course, boards = electrics.course, electrics.boards
    count = max(1, round(seconds * frames_per_second))
    time_s = np.arange(count) / frames_per_second
    levels = course.levels(time_s)
    lights = sum(len(b.lights) for b in boards)
    colour_of_light = np.zeros((lights, 3))
    for board in boards:
        colour_of_light[list(board.lights)] = board.drive
    average = electrics.average_levels()
    cycle = course.cycle_s
    return PulseReport(
        course=course,
        seconds=seconds,
        frames_per_second=frames_per_second,
        time_s=time_s,
        levels=levels,
        mean_levels=course.mean_levels(),
        colours=np.array([colour_of_light[member.lights[0]] for member in course.members]),
        light=_light(electrics, levels),
        current_ma=current_ma(electrics, levels),
        average_ma=sum(b.current_ma(level) for b, level in zip(boards, average, strict=True)),
        drawn_ma=electrics.total_drawn_ma,
        idle_ma=sum(b.idle_ma for b in boards),
        limit_ma=electrics.own_pack.max_current_ma if electrics.own_pack else None,
        seamless=cycle is not None and abs(seconds / cycle - round(seconds / cycle)) < 1e-6,
    )
