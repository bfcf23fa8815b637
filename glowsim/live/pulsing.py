"""The zones in motion for the page: the prop's light taken apart once, and levels over time."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from glowsim.decisions.flashes import FLASH_SIZE, flashes_in
from glowsim.electrics.as_wired import wired
from glowsim.electrics.flashes import FlashReport
from glowsim.electrics.power import Electrics
from glowsim.electrics.pulse_report import PulseReport, levels_as_wired, pulse_report
from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray
from glowsim.live.edits import Prop
from glowsim.live.session import Session
from glowsim.live.skin import surface_key
from glowsim.pictures import Studio
from glowsim.pictures.pulsed import PulsedStudio, pulsed_studio
from glowsim.pictures.shade import Shading
from glowsim.transport.plan import plan_of

FRAMES_PER_SECOND = 25.0
LEAST_S = 10.0
"""Shown at least: as `glowsim pulse` draws."""
MOST_S = 60.0
NEAREST_MM = 500.0
"""Distance of the nearest viewer, as `glowsim pulse` takes it."""
NOTHING = 1e-5
"""Corners that get less than this share of a member's greatest light are left out."""


@dataclass(frozen=True)
class Pulsing:
    """A prop's pulses, ready to be played.

    prop : as it is when they are those of it;  warning : what must be confirmed first, or ''
    data : bytes for the page's player
    """

    prop: Prop
    warning: str
    data: bytes


def pulsing_of(session: Session, report: Callable[[str], None] = lambda text: None) -> Pulsing:
    """Take the prop as it is apart into still light and what each member gives at full level.

    Raises SceneError if nothing moves, PictureError if too much does by itself.
    """
    prop = session.now
    scene_file = session.file(prop)
    if not scene_file.scene.pulses:
        raise SceneError(
            f"{session.path.name} has no [[pulses]] yet: write one into it, such as "
            f'zone = "{_some_zone(prop)}" with pattern = "swell", and save it; the page follows'
        )
    electrics = Electrics(scene_file)
    seconds = _seconds(electrics.course.cycle_s)
    moving = pulse_report(electrics, seconds=seconds, frames_per_second=FRAMES_PER_SECOND)
    glow = session.kept.glow(plan_of(scene_file), report=report)
    report("taking the light apart")
    studio = Studio(wired(glow, electrics), scene_file.scene, "embree")
    apart = pulsed_studio(studio, [member.lights for member in moving.moving])
    report("counting flashes")
    found = flashes_in(studio, apart.view(studio.camera(FLASH_SIZE)), moving, NEAREST_MM)
    levels = levels_as_wired(electrics, moving, glow)
    return Pulsing(prop, _warning(found), _data(apart, moving, levels))


def _seconds(cycle_s: float | None) -> float:
    """Return how long to play until it begins again: whole cycles where they are short enough."""
    if cycle_s is None or cycle_s > MOST_S:
        return LEAST_S
    return cycle_s * max(1, math.ceil(LEAST_S / cycle_s))


def _warning(found: dict[str, FlashReport]) -> str:
    bad = {where: report for where, report in found.items() if report.too_many}
    if not bad:
        return ""
    most = max(max(r.general.per_second, r.red.per_second) for r in bad.values())
    return (
        f"This flashes up to {most:.3g} times a second ({', '.join(bad)}). More than three can set "
        "off seizures in people with photosensitive epilepsy."
    )


def _data(apart: PulsedStudio, moving: PulseReport, levels: FloatArray) -> bytes:
    """Return a line of JSON, filled up to a whole number, then float32 values: the still light's
    glow, across and back, (c, 3) XYZ each, then for each member glow and across of its corners."""
    still = apart.still
    arrays: list[FloatArray] = [_glow(still), still.across, still.sent_back]
    members: list[dict[str, Any]] = []
    for k, (member, part) in enumerate(zip(moving.moving, apart.parts, strict=True)):
        glow, across = _glow(part), part.across
        first, last = _range(glow + across)
        arrays += [glow[first:last], across[first:last]]
        colour = moving.colours[list(moving.course.members).index(member)]
        members.append(
            {
                "name": member.name,
                "first": first,
                "count": last - first,
                "levels": levels[:, k].round(4).tolist(),
                "colour": _hex(colour),
            }
        )
    heading = {
        "shape": surface_key(apart.studio.glow),
        "corners": len(still.across),
        "seconds": moving.seconds,
        "members": members,
    }
    line = json.dumps(heading).encode()
    line += b" " * (-(len(line) + 1) % 4) + b"\n"
    return line + b"".join(np.ascontiguousarray(a, "<f4").tobytes() for a in arrays)


def _glow(shading: Shading) -> FloatArray:
    """Return the luminance of a shading's own light at the corners, (c, 3) XYZ [cd/m2]."""
    return np.asarray(shading.stage.at_corners(shading.emission.total_lm_m2 / np.pi))


def _range(light: FloatArray) -> tuple[int, int]:
    """Return the first corner that is lit, and the one after the last."""
    bright = light[:, 1]
    lit = np.flatnonzero(bright > NOTHING * bright.max(initial=0.0))
    return (int(lit[0]), int(lit[-1]) + 1) if len(lit) else (0, 0)


def _hex(drive: Sequence[float] | FloatArray) -> str:
    """Return a light's hue for a line: its strongest channel full."""
    values = np.asarray(drive, float) / max(float(np.max(drive)), 1e-9)
    return "#" + "".join(f"{round(255 * (0.25 + 0.75 * v**0.6)):02x}" for v in values)


def _some_zone(prop: Prop) -> str:
    zones = [light.zone for body in prop.scene.bodies for light in body.lights]
    return zones[0] if zones else "all"
