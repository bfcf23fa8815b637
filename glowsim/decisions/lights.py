"""Boards that were placed as lights of a scene, turned to what the wish and heat have them at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.catalogue import Board
from glowsim.decisions.alike import relit
from glowsim.decisions.heat import PowerLimit, limit_at_place
from glowsim.decisions.objective import Wish
from glowsim.decisions.placed_scene import matched
from glowsim.decisions.placer import Placer
from glowsim.decisions.polish import Placement
from glowsim.decisions.step import Step
from glowsim.errors import SceneError
from glowsim.scene import Body, Light, SceneFile
from glowsim.scene.lights import Drive
from glowsim.transport.build import Report


@dataclass(frozen=True)
class Lit:
    """A scene with boards placed in some bodies that are alike.

    lights : of the first of them;  factor : what the boards' drive was multiplied with
    text   : of the scene;  heat : what these boards bear at their places, as driven
    """

    lights: list[Light]
    text: str
    scene_file: SceneFile
    heat: PowerLimit
    factor: float


def lit(
    scene_file: SceneFile,
    numbers: Sequence[int],
    placer: Placer,
    placement: Placement,
    before: Step,
    report: Report,
) -> Lit:
    """Return a scene with a placement in the bodies of some numbers.

    before : the scene as it is, for least power
    Raises SceneError where heat bears not even dark boards, or the scene would not hold together.
    """
    bodies = scene_file.scene.bodies

    def with_boards(factor: float) -> tuple[list[Light], str, SceneFile]:
        lights = {k: lights_of(placer, placement, bodies[k], factor) for k in numbers}
        return lights[numbers[0]], *relit(scene_file, lights, f"{scene_file.stem}-placed.toml")

    lights, text, new = with_boards(1.0)
    report("heat at these places")
    name, rule = bodies[numbers[0]].name, placer.kind.heat
    heat = limit_at_place(new, placer.responses.plan.catalogue, name, rule)
    assert heat is not None, "a placer's boards are turned on"
    if heat.heat_factor <= 0:
        raise SceneError(
            f"{name}: the board '{placer.kind.name}' draws {placer.kind.power_w(0.0):.2g} W even "
            f"while dark, above the {heat.limit_w:.2g} W that heat allows; take one with fewer LEDs"
        )
    mean = 0.0 if placer.wish.first != "power" else placer.mean_cd_m2(placement)
    factor = drive_factor(placer.wish, before, heat, mean)
    if factor != 1.0:
        lights, text, new = with_boards(factor)
    return Lit(lights, text, new, heat.turned(factor, scene_file.scene.heat.room_c), factor)


def drive_factor(wish: Wish, before: Step, heat: PowerLimit, mean_cd_m2: float) -> float:
    """Return what to multiply the drive of all boards with.

    mean_cd_m2 : of the glow with them, which counts for least power alone
    Evenness first leaves the drive, unless heat forbids; brightness takes all that heat and the
    LEDs allow; least power takes what makes the body read as lit.
    """
    if wish.first == "evenness":
        factor = min(1.0, heat.heat_factor)
    elif wish.first == "brightness":
        factor = heat.factor
    else:
        seen = before.lit
        room = seen.ratio / seen.on_off * seen.white_paper_cd_m2
        needed = max(seen.needed_cd_m2 - room, 0.01 * seen.needed_cd_m2)
        factor = min(needed / mean_cd_m2, heat.factor)
    # Rounded down, so that what is written is never above the limit.
    return float(np.floor(factor * 1e4) / 1e4)


def lights_of(placer: Placer, placement: Placement, body: Body, factor: float) -> list[Light]:
    """Return the scene's lights for a placement; those that move keep name and zone."""
    pattern = placer.kind.light
    lights = []
    poses, levels = placement.poses, placement.levels
    for k in range(len(poses)):
        lights.append(
            pattern.model_copy(
                update={
                    "position_mm": tuple(round(float(c), 2) + 0.0 for c in poses.position[k]),
                    "direction": tuple(round(float(c), 4) + 0.0 for c in poses.direction[k]),
                    "drive": _times(pattern.drive, factor * float(levels[k]), placer.kind.board),
                }
            )
        )
    taken = {light.name for light in body.lights}
    own = body.lights[0]
    for k, match in enumerate(matched(body.lights, lights)):
        old = None if match is None else body.lights[match]
        name = old.name if old is not None and old.name else f"board {k + 1}"
        if old is None:
            while name in taken:
                name += "'"
        like = own if old is None else old
        zone, zones = like.zone, like.zones
        if placer.wish.free_levels:
            zone, zones = f"{own.zone} {k + 1}", ()
        lights[k] = lights[k].model_copy(update={"name": name, "zone": zone, "zones": zones})
    return lights


def turned(light: Light, factor: float, board: Board) -> Light:
    """Return a light with all its colours turned up by a factor, LED by LED where it has them."""
    many = None if light.drives is None else tuple(_times(d, factor, board) for d in light.drives)
    last = None if light.drive_to is None else _times(light.drive_to, factor, board)
    update = {"drive": _times(light.drive, factor, board), "drives": many, "drive_to": last}
    return light.model_copy(update=update)


def _times(drive: Drive, factor: float, board: Board) -> Drive:
    """Return a board's drive times a factor, rounded down."""
    if factor == 1.0:
        return drive
    colours = ("white",) if board.drive == "white" else ("red", "green", "blue")
    return drive.model_copy(
        update={c: float(np.floor(getattr(drive, c) * factor * 1e4 + 1e-6) / 1e4) for c in colours}
    )
