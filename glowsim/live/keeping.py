"""The edited scene as text: the file as written, with what has changed put in, comments kept."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import tomlkit

from glowsim.decisions.placed_scene import with_lights, write_beside
from glowsim.errors import SceneError
from glowsim.files import write_whole
from glowsim.scene import Light, Scene, SceneFile, Tree, parse_scene

ENDING = "live"


def text_of(origin: SceneFile, scene: Scene) -> tuple[str, SceneFile]:
    """Return the text of an edited scene, and that scene as it will be read back.

    origin : the scene as it was read
    Raises SceneError if the text would not say what the edited scene says.
    """
    name, now, text = origin.toml.name, origin, _with_bodies(origin, scene)
    shared = min(len(scene.bodies), len(origin.scene.bodies))
    for number, body in enumerate(scene.bodies[:shared]):
        before = now.scene.bodies[number].lights
        if body.lights == before:
            continue
        if body.lights and before:
            text, now = with_lights(now, text, number, body.lights, name)
        else:
            text = _with_first_lights(text, number, body.lights)
            now = parse_scene(text, name, origin.folder)
    document: Any = tomlkit.parse(text)
    _set(document, "room", origin.scene.room, scene.room)
    for number, body in enumerate(scene.bodies[:shared]):
        _set_keys(document["bodies"][number], origin.scene.bodies[number], body,
                  ("material", "wall_mm"))  # fmt: skip
    _set_names(document, origin.scene, scene)
    text = tomlkit.dumps(document)
    read = parse_scene(text, name, origin.folder)
    if not _same(read.scene.model_dump(), scene.model_dump()):
        raise SceneError(
            f"{name}: this change cannot be written back into the file as it stands; nothing was "
            "written"
        )
    return text, read


def _with_bodies(origin: SceneFile, scene: Scene) -> str:
    """Return the text with the copies that were split off, or without those that are together
    again: bodies at its end, and patterns."""
    old = origin.scene.bodies
    shared = min(len(old), len(scene.bodies))
    if [b.name for b in scene.bodies[:shared]] != [b.name for b in old[:shared]]:
        raise SceneError(f"{origin.toml.name}: holds other bodies than this; reload it, or undo")
    document: Any = tomlkit.parse(origin.toml.text)
    for before, body, table in zip(old, scene.bodies, document["bodies"], strict=False):
        if body.patterns != before.patterns:
            table["patterns"] = _tables(body.patterns)
    for _ in old[shared:]:
        del document["bodies"][shared]
    for body in scene.bodies[shared:]:
        document["bodies"].append(_tables([body])[0])
    if scene.pulses != origin.scene.pulses:
        document.pop("pulses", None)  # until the zones are those they speak of
    return tomlkit.dumps(document)


def _tables(entries: Sequence[Any]) -> Any:
    tables = tomlkit.aot()
    for entry in entries:
        tables.append(tomlkit.item(entry.model_dump(exclude_defaults=True, exclude_none=True)))
    return tables


def scene_in(text: str, origin: SceneFile) -> Scene:
    """Return the scene that a text kept of an earlier state holds; raises SceneError."""
    return parse_scene(text, f"{origin.toml.name} as kept", origin.folder).scene


def save_beside(path: Path, text: str) -> Path:
    """Write a scene beside an old one under a new name; return it. Raises SceneError."""
    return write_beside(path, ENDING, text)


def save_over(path: Path, text: str, known: str) -> None:
    """Write a scene over its own file, whole or not at all.

    known : what the file is thought to hold; where it holds something else it is left alone.
    Raises SceneError.
    """
    if now_in(path) != known:
        raise SceneError(
            f"{path}: has been changed by another program meanwhile and is left alone; save under "
            "a new name, or reload it"
        )
    try:
        write_whole(path, text.encode())
    except OSError as problem:
        raise SceneError(f"{path}: cannot be written: {problem.strerror or problem}") from None


def now_in(path: Path) -> str:
    """Return the text a file holds now; raises SceneError if it cannot be read."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        raise SceneError(f"{path}: cannot be read: {problem}") from None


def _with_first_lights(text: str, number: int, lights: tuple[Light, ...]) -> str:
    """Return the text with these lights in a body, whose old ones, if any, go."""
    document: Any = tomlkit.parse(text)
    body = document["bodies"][number]
    if "lights" in body:
        body.remove("lights")
    if lights:
        tables = tomlkit.aot()
        for light in lights:
            table = tomlkit.table()
            for key, value in light.model_dump(exclude_defaults=True, exclude_none=True).items():
                table[key] = value
            tables.append(table)
        body["lights"] = tables
    return tomlkit.dumps(document)


def _set(document: Any, table: str, old: Any, new: Any) -> None:
    if new == old:
        return
    if table not in document:
        document[table] = tomlkit.table()
    _set_keys(document[table], old, new, tuple(type(new).model_fields))


def _set_keys(table: Any, old: Any, new: Any, keys: tuple[str, ...]) -> None:
    for key in keys:
        was, now = getattr(old, key), getattr(new, key)
        if was == now:
            continue
        if now is None:
            table.remove(key)
        elif isinstance(now, float) and now.is_integer():
            table[key] = int(now)
        else:
            table[key] = now


def _set_names(document: Any, old: Scene, new: Scene) -> None:
    """Put in what names the boards and zones, as far as it differs: wires, pins, pulses."""
    if new.pulses != old.pulses:
        document["pulses"] = _tables(new.pulses)
    wiring = new.wiring
    if wiring == old.wiring or wiring is None:
        pass
    elif isinstance(wiring, Tree):
        for table, segment in zip(document["wiring"]["segments"], wiring.segments, strict=True):
            _name(table, "boards", segment.boards)
    else:
        _name(document["wiring"], "boards", wiring.boards)
    pins = zip(new.controller.pins, old.controller.pins, strict=True)
    for number, (pin, was) in enumerate(pins):
        if pin != was:
            table = document["controller"]["pins"][number]
            _name(table, "boards", pin.boards)
            _name(table, "branches", pin.branches)


def _name(table: Any, key: str, names: Sequence[Any]) -> None:
    """Write names under a key, or nothing where there are none."""
    plain = [list(name) if isinstance(name, tuple) else name for name in names]
    if plain:
        if table.get(key) != plain:
            table[key] = plain
    elif key in table:
        table.remove(key)


def _same(a: Any, b: Any) -> bool:
    """Return whether plain data say the same, but for the sixth digit of a number."""
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(_same(a[k], b[k]) for k in a)
    if isinstance(a, (list, tuple)):
        return len(a) == len(b) and all(map(_same, a, b))
    if isinstance(a, float) and isinstance(b, (int, float)):
        return abs(a - b) <= 1e-5 * max(abs(a), abs(b), 1.0)
    return bool(a == b)
