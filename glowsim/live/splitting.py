"""A copy as a body of its own, all that names its boards told anew: wires, pins, pulses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from glowsim.electrics.loads import LitBoard, boards_of
from glowsim.electrics.pulse import Course, course_of
from glowsim.errors import SceneError
from glowsim.live import edits
from glowsim.live.edits import Prop
from glowsim.scene import Bus, Chain, Pulse, Scene, SceneFile, Tree
from glowsim.transport.plan import plan_of

IRREGULAR = ("ember", "glint")
LOOKED_AT = 97
"""Moments of the longest period at which pulses are compared."""


def split_off(prop: Prop, body: int, copy: int, scene_file: SceneFile) -> Prop:
    """Return the prop with one copy of a body as a body of its own, the last one.

    Wires and pins that name its boards, or the copies after it, name them as they are called now.
    scene_file : the prop's. Raises SceneError where there are no copies, or where the prop would
    not be wired or pulse as before.
    """
    new = edits.split_off(prop, body, copy)
    if not any(own.lights for own in prop.scene.bodies):
        return new
    old_boards = boards_of(plan_of(scene_file))
    pulses = _pulses_apart(prop.scene, body, old_boards)
    scene = new.scene.model_copy(update={"pulses": pulses})
    new_boards = boards_of(plan_of(replace(scene_file, scene=scene)))
    moved = _where_to(prop.scene, body, copy)
    lights = [light for number in moved for light in new_boards[number].lights]
    courses = course_of(old_boards, prop.scene.pulses), course_of(new_boards, pulses)
    _check_pulses(*courses, lights, prop.scene.pulses)
    return replace(new, scene=_told_anew(scene, _Names(old_boards, new_boards, moved)))


def _where_to(scene: Scene, body: int, copy: int) -> list[int]:
    """Return the new number of each board: those of the copy come last."""
    stay: list[int] = []
    leave: list[int] = []
    number = 0
    for k, own in enumerate(scene.bodies):
        for place in range(own.copy_count):
            mine = range(number, number + len(own.lights))
            (leave if (k, place) == (body, copy) else stay).extend(mine)
            number += len(own.lights)
    order = [*stay, *leave]
    return [order.index(old) for old in range(number)]


def _pulses_apart(scene: Scene, body: int, boards: Sequence[LitBoard]) -> tuple[Pulse, ...]:
    """Return the pulses with one for each zone of a rule ('spike {copy}') that this body's lights
    go by: a copy without the others goes by no rule."""
    rules = {light.zone for light in scene.bodies[body].lights if not light.zones}
    members = course_of(boards, scene.pulses).members
    found: list[Pulse] = []
    for pulse in scene.pulses:
        mine = [m for m in members if m.pulse == pulse and m.zone != pulse.zone]
        if not mine or pulse.zone not in rules:
            found.append(pulse)
        for member in mine if pulse.zone in rules else ():
            phase = round((pulse.phase - pulse.stagger * member.number) % 1.0, 6)
            update = {"zone": member.zone, "phase": phase, "stagger": 0.0}
            found.append(pulse.model_copy(update=update))
    return tuple(found)


def _check_pulses(
    old: Course, new: Course, moved_lights: Sequence[int], pulses: Sequence[Pulse]
) -> None:
    """Raise SceneError where lights would move otherwise; irregular ones may, within their kind."""
    longest = max((pulse.period_s for pulse in pulses), default=1.0)
    time_s = longest * (np.arange(LOOKED_AT) + 0.37) / LOOKED_AT
    count = len(moved_lights)
    before, after = (one.of_lights(one.levels(time_s), count) for one in (old, new))
    same = np.abs(before - after[:, list(moved_lights)]).max(axis=0) < 1e-4
    for member in old.members:
        regular = member.pulse is not None and member.pulse.pattern not in IRREGULAR
        if regular and not same[list(member.lights)].all():
            raise SceneError(
                f"this copy cannot be moved alone: the pulse of zone '{member.zone}' goes from "
                "light to light in the order of the copies, and would reach it last; take the last "
                "copy, or give it a zone of its own first"
            )


@dataclass(frozen=True)
class _Names:
    """What boards are called before and after. moved : new number of each old board."""

    old: Sequence[LitBoard]
    new: Sequence[LitBoard]
    moved: Sequence[int]

    def told(self, names: Sequence[str]) -> tuple[str, ...]:
        """Return names that mean the same boards in the same order."""
        found: list[str] = []
        for name in names:
            wanted = [self.moved[n] for n in _meant(self.old, name)]
            found += [name] if _meant(self.new, name) == wanted else self._called(wanted)
        return tuple(found)

    def everyone(self) -> tuple[str, ...]:
        """Return names of all boards in their old order; none where that still is theirs."""
        wanted = list(self.moved)
        return () if wanted == sorted(wanted) else tuple(self._called(wanted))

    def _called(self, wanted: list[int]) -> list[str]:
        """Return the fewest names of bodies, copies and boards for boards in this order."""
        found = []
        while wanted:
            first = self.new[wanted[0]]
            for name in (first.body, first.copy, first.name):
                meant = _meant(self.new, name)
                if meant == wanted[: len(meant)]:
                    break
            else:
                raise SceneError(
                    f"this copy cannot be moved alone: wires or pins would mix up '{first.name}' "
                    "with others called the same; give the boards names of their own first"
                )
            found.append(name)
            wanted = wanted[len(meant) :]
        return found


def _meant(boards: Sequence[LitBoard], name: str) -> list[int]:
    return [n for n, b in enumerate(boards) if name in (b.name, b.copy, b.body)]


def _told_anew(scene: Scene, names: _Names) -> Scene:
    """Return a scene whose wires and pins name the boards as they are called now."""
    update: dict[str, Any] = {}
    wiring = scene.wiring
    if isinstance(wiring, Tree):
        segments = tuple(_renamed(segment, names) for segment in wiring.segments)
        update["wiring"] = wiring.model_copy(update={"segments": segments})
    elif isinstance(wiring, Bus | Chain) and not wiring.boards:
        update["wiring"] = wiring.model_copy(update={"boards": names.everyone()})
    elif wiring is not None:
        update["wiring"] = _renamed(wiring, names)
    if scene.controller.pins:
        pins = tuple(
            _renamed(pin, names).model_copy(
                update={"branches": tuple(map(names.told, pin.branches))}
            )
            for pin in scene.controller.pins
        )
        update["controller"] = scene.controller.model_copy(update={"pins": pins})
    return scene.model_copy(update=update)


def _renamed(entry: Any, names: _Names) -> Any:
    return entry.model_copy(update={"boards": names.told(entry.boards)})
