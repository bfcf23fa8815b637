"""What a hand does to a prop: each edit is a function from one prop to another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from glowsim.errors import SceneError
from glowsim.geometry.patterns import copies_of, place_and_turn
from glowsim.scene import Body, Light, Room, Scene
from glowsim.scene.lights import Drive
from glowsim.scene.patterns import Pattern, Place, Places

TENTHS = 1
"""Digits that places are kept to: nobody measures a board finer than a tenth of a millimetre."""
DARK = Drive(red=0.0, green=0.0, blue=0.0, white=0.0)


class BoardAt(NamedTuple):
    """A light board: the number of its body in the scene, and its own in that body."""

    body: int
    light: int


@dataclass(frozen=True)
class Prop:
    """A scene as edited, with what the scene itself cannot say.

    kept : how a board that is switched off was driven, by board
    """

    scene: Scene
    kept: Mapping[BoardAt, Drive] = field(default_factory=dict)

    def light(self, at: BoardAt) -> Light:
        """Return a board's light; raises IndexError for one that is not there."""
        return self.scene.bodies[at.body].lights[at.light]

    @property
    def boards(self) -> tuple[BoardAt, ...]:
        """All boards, body after body."""
        return tuple(
            BoardAt(b, k)
            for b, body in enumerate(self.scene.bodies)
            for k in range(len(body.lights))
        )


def tidy(values: Iterable[float], digits: int = TENTHS) -> tuple[float, float, float]:
    """Return three numbers rounded, without minus nought."""
    x, y, z = (round(float(v), digits) + 0.0 for v in values)
    return x, y, z


def moved(prop: Prop, at: BoardAt, position_mm: Iterable[float]) -> Prop:
    """Return the prop with a board at a place in its body's frame."""
    return _changed(prop, at, position_mm=tidy(position_mm))


def slid(prop: Prop, at: BoardAt, start_mm: float) -> Prop:
    """Return the prop with a strip that begins so far along its path."""
    return _changed(prop, at, start_mm=start_mm)


def turned(prop: Prop, at: BoardAt, direction: Iterable[float]) -> Prop:
    """Return the prop with a board facing another way, in its body's frame."""
    return _changed(prop, at, direction=tidy(direction, 4))


def driven(prop: Prop, zone: str, drive: Drive) -> Prop:
    """Return the prop with all boards of a zone driven alike; those switched off stay off."""
    kept, bodies = dict(prop.kept), []
    for b, body in enumerate(prop.scene.bodies):
        lights = []
        for k, light in enumerate(body.lights):
            at = BoardAt(b, k)
            if light.zone == zone and at in kept:
                kept[at] = drive
            elif light.zone == zone:
                light = light.model_copy(update={"drive": drive})
            lights.append(light)
        bodies.append(body.model_copy(update={"lights": tuple(lights)}))
    return Prop(prop.scene.model_copy(update={"bodies": tuple(bodies)}), kept)


def switched(prop: Prop, at: BoardAt) -> Prop:
    """Return the prop with a board switched off, or on again as it was driven before."""
    kept = dict(prop.kept)
    if at in kept:
        drive = kept.pop(at)
    else:
        kept[at], drive = prop.light(at).drive, DARK
    return replace(_changed(prop, at, drive=drive), kept=kept)


def added(prop: Prop, body: int, light: Light) -> Prop:
    """Return the prop with one more board in a body, after its others."""
    return _with_lights(prop, body, (*prop.scene.bodies[body].lights, light))


def removed(prop: Prop, at: BoardAt) -> Prop:
    """Return the prop without a board."""
    lights = prop.scene.bodies[at.body].lights
    kept = {
        BoardAt(b, k - 1) if b == at.body and k > at.light else BoardAt(b, k): drive
        for (b, k), drive in prop.kept.items()
        if (b, k) != at
    }
    rest = (*lights[: at.light], *lights[at.light + 1 :])
    return _with_lights(replace(prop, kept=kept), at.body, rest)


def with_lights(prop: Prop, body: int, lights: tuple[Light, ...]) -> Prop:
    """Return the prop with other boards in a body, all of them on."""
    kept = {at: drive for at, drive in prop.kept.items() if at.body != body}
    return _with_lights(replace(prop, kept=kept), body, lights)


def remedied(prop: Prop, body: int, new: Body) -> Prop | None:
    """Return the prop with a body's boards, material and wall as in a body that was tried; None
    where that differs by more, which a scene's text cannot be made to say."""
    old = prop.scene.bodies[body]
    update = {"lights": new.lights, "material": new.material, "wall_mm": new.wall_mm}
    as_before = {"detail_mm": None, "cell_mm": None} | dict.fromkeys(update)
    if old.model_copy(update=as_before) != new.model_copy(update=as_before):
        return None
    return _with_body(with_lights(prop, body, new.lights), body, old.model_copy(update=update))


def split_off(prop: Prop, body: int, copy: int) -> Prop:
    """Return the prop with one copy of a body as a body of its own, the last one.

    It stands, shines and is called as before, but its boards can be moved alone.
    Raises SceneError where there are no copies.
    """
    old = prop.scene.bodies[body]
    if old.copy_count < 2:
        raise SceneError(f"there is but one '{old.name}'")
    kept_copies = [k for k in range(old.copy_count) if k != copy]
    alone, rest = [], []
    for light in old.lights:
        zones = [light.zone_of(k) for k in range(old.copy_count)]
        own = {"zone": zones[copy], "zones": ()}
        alone.append(light.model_copy(update=own))
        if light.zones or len(set(zones)) > 1:
            light = light.model_copy(update={"zones": tuple(zones[k] for k in kept_copies)})
        rest.append(light)
    position, rotation = place_and_turn(copies_of(old)[copy])
    new = old.model_copy(
        update={
            "name": _free_body_name(prop.scene, old.name),
            "position_mm": position,
            "rotation_deg": rotation,
            "patterns": (),
            "lights": tuple(alone),
        }
    )
    fewer = old.model_copy(update={"patterns": _without_copy(old, copy), "lights": tuple(rest)})
    kept = {
        **prop.kept,
        **{BoardAt(len(prop.scene.bodies), at.light): drive
           for at, drive in prop.kept.items() if at.body == body},
    }  # fmt: skip
    less = _with_body(replace(prop, kept=kept), body, fewer)
    bodies = (*less.scene.bodies, new)
    return replace(less, scene=less.scene.model_copy(update={"bodies": bodies}))


def told_as(prop: Prop, body: int) -> str:
    """Return the name by which findings tell of a body: that of the first one that is alike, as
    they do of copies."""
    alike = _bare(prop.scene.bodies[body])
    return next(other.name for other in prop.scene.bodies if _bare(other) == alike)


def _bare(body: Body) -> Body:
    """Return a body without its name, its place and what its lights are called."""
    calling = {"name": None, "zone": "all", "zones": ()}
    lights = tuple(light.model_copy(update=calling) for light in body.lights)
    nowhere = {"position_mm": (0.0,) * 3, "rotation_deg": (0.0,) * 3, "patterns": ()}
    return body.model_copy(update={"name": "", "lights": lights, **nowhere})


def _without_copy(body: Body, copy: int) -> tuple[Pattern, ...]:
    """Return a body's patterns without one copy; the one it was in becomes places one by one."""
    bare = body.model_copy(update={"position_mm": (0.0,) * 3, "rotation_deg": (0.0,) * 3})
    found: list[Pattern] = []
    first = 0
    for pattern in body.patterns:
        number, first = copy - first, first + pattern.copy_count
        if not 0 <= number < pattern.copy_count:
            found.append(pattern)
            continue
        places = copies_of(bare.model_copy(update={"patterns": (pattern,)}))
        rest = [place_and_turn(place) for k, place in enumerate(places) if k != number]
        if rest:
            one_by_one = tuple(Place(position_mm=p, rotation_deg=r) for p, r in rest)
            found.append(Places(kind="places", places=one_by_one))
    return tuple(found)


def _free_body_name(scene: Scene, name: str) -> str:
    names = {body.name for body in scene.bodies}
    tries = (f"{name} apart", *(f"{name} apart {k}" for k in range(2, len(names) + 3)))
    return next(new for new in tries if new not in names)


def in_room(prop: Prop, **values: Any) -> Prop:
    """Return the prop in another room light, or seen from elsewhere; raises ValidationError."""
    room = Room(**(prop.scene.room.model_dump() | values))
    return replace(prop, scene=prop.scene.model_copy(update={"room": room}))


def of_material(prop: Prop, body: int, **values: Any) -> Prop:
    """Return the prop with a body of another material or wall; raises ValidationError."""
    old = prop.scene.bodies[body]
    # Only what is given is checked again: a whole body as plain data would lose what it left out.
    Body.model_validate({"name": "x", "shape": old.shape, "mesh": old.mesh,
                         "material": old.material, "wall_mm": old.wall_mm} | values)  # fmt: skip
    return _with_body(prop, body, old.model_copy(update=values))


def _changed(prop: Prop, at: BoardAt, **values: Any) -> Prop:
    lights = list(prop.scene.bodies[at.body].lights)
    lights[at.light] = lights[at.light].model_copy(update=values)
    return _with_lights(prop, at.body, tuple(lights))


def _with_lights(prop: Prop, body: int, lights: tuple[Light, ...]) -> Prop:
    return _with_body(prop, body, prop.scene.bodies[body].model_copy(update={"lights": lights}))


def _with_body(prop: Prop, number: int, body: Body) -> Prop:
    return replace(prop, scene=prop.scene.with_body(number, body))
