"""A scene with other lights in one body: written beside the old one, comments kept."""

from __future__ import annotations

import copy
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from scipy.optimize import linear_sum_assignment
from tomlkit.items import AoT, Table

from glowsim.errors import SceneError
from glowsim.files import free_path, write_whole
from glowsim.scene import Light, SceneFile, parse_scene

_KEYS = (
    *("board", "led_count", "channel_current_ma", "position_mm", "direction", "zone", "zones"),
    "drive",
)
"""Keys of a light that placing decides, in the order they are written."""
_STAYS = ("direction", "position_mm")
"""Keys that are written even where they are what is taken without them."""
_OF_PATHS = ("start_mm", "board_count", "pitch_mm", "drives", "drive_to")
"""Keys of what lies along a path that placing decides besides; its path says the rest."""


def matched(old: Sequence[Light], new: Sequence[Light]) -> list[int | None]:
    """Return for each new light the old one that moves there, by the least way in all; strips
    along paths stay in their order."""
    found: list[int | None] = [None] * len(new)
    if [_place(light) for light in old] == [_place(light) for light in new]:
        return list(range(len(new)))
    if old and new:
        a = np.array([light.position_mm for light in new], dtype=float)
        b = np.array([light.position_mm for light in old], dtype=float)
        rows, columns = linear_sum_assignment(np.linalg.norm(a[:, None] - b[None], axis=2))
        for row, column in zip(rows, columns, strict=True):
            found[int(row)] = int(column)
    return found


def _place(light: Light) -> object:
    """Return what says where a light is."""
    return getattr(light, light.path_key or "position_mm")


def with_lights(
    scene_file: SceneFile, text: str, number: int, lights: Sequence[Light], name: str
) -> tuple[str, SceneFile]:
    """Return the text of a scene with other lights in body `number`, and that scene.

    text : of the scene file;  name : what to call the new file in messages
    Lights keep their tables, comments and names as far as there are old ones to move; what
    belonged to lights that are gone goes with them.
    """
    document = tomlkit.parse(text)
    body: Any = document["bodies"][number]
    old = scene_file.scene.bodies[number].lights
    written: Any = body["lights"]
    if not isinstance(written, AoT):
        tables = [_block(table) for table in written]
        body.remove("lights")
    else:
        tables = list(written)
    matches = matched(old, lights)
    changed: list[Table] = []
    for light, match in zip(lights, matches, strict=True):
        table = copy.deepcopy(tables[0 if match is None else match])
        if match is None:
            _without_comments(table)
        _set(table, light)
        changed.append(table)
    group = tomlkit.aot()
    for table in changed:
        group.append(table)
    body["lights"] = group
    result = re.sub(r"\n\n\n+(\s*\[\[bodies\.lights)", r"\n\n\1", tomlkit.dumps(document))
    try:
        new = parse_scene(result, name, scene_file.folder)
        return result, new.on_battery(scene_file.battery)
    except SceneError as problem:
        raise SceneError(
            f"{scene_file.toml.name}: with {len(lights)} lights in "
            f"'{scene_file.scene.bodies[number].name}' the scene would not hold together any more: "
            f"{problem}"
        ) from None


def _block(table: Any) -> Table:
    """Return an inline table as a table of its own."""
    made = tomlkit.table()
    for key, value in table.items():
        made[key] = value
    return made


def _without_comments(table: Table) -> None:
    """Take the comments off the lines of a table that is a copy of another."""
    for key in table:
        table[key].trivia.comment = ""
        table[key].trivia.comment_ws = ""


def _clear(table: Table, keys: Sequence[str]) -> None:
    for key in keys:
        if key in table:
            table.remove(key)


def _set(table: Table, light: Light) -> None:
    """Write what placing decides into a light's table; what is as before stays untouched."""
    plain = light.model_dump(exclude_none=True)
    given = light.model_dump(exclude_defaults=True, exclude_none=True)
    if (drive := given.get("drive")) and drive.keys() != {"white"}:
        # A colour at full drive is written too: left out it would read as if it were off.
        given["drive"] = {c: plain["drive"][c] for c in ("red", "green", "blue")} | drive
    keys: tuple[str, ...] = ("name", *_KEYS, *(_OF_PATHS if light.runs_along else ()))
    for key in keys:
        # Along a wall, where a light faces goes by whether the scene says it.
        stays = key in _STAYS and (key in light.model_fields_set or not light.runs_along)
        value = plain.get(key) if stays else given.get(key)
        if value is None:
            _clear(table, (key,))
        elif key in table and _plain(table[key]) == _plain(value):
            continue
        else:
            table[key] = _item(_plain(value))
    _clear(table, ("separate_leds",) if not light.separate_leds else ())


def _item(value: Any) -> Any:
    """Return a value as TOML within one line, tables too."""
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        return inline
    if isinstance(value, list) and any(isinstance(one, dict) for one in value):
        array = tomlkit.array()
        array.extend(_item(one) for one in value)
        return array
    return value


def _plain(value: Any) -> Any:
    """Return plain numbers: whole ones without a point, others without float dust."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, float):
        short = float(f"{float(value):.6g}")
        return int(short) if short.is_integer() else short
    return value


def free_name(path: Path, ending: str) -> Path:
    """Return a name beside `path` that no file has: STEM-ENDING.toml, or with a number."""
    return free_path(path.with_name(f"{path.stem}-{ending}.toml"))


def write_beside(path: Path, ending: str, text: str) -> Path:
    """Write a new scene file beside `path` under its `free_name`; return that.

    Raises SceneError if it cannot be written.
    """
    new = free_name(path, ending)
    write_new(new, text)
    return new


def write_new(path: Path, text: str) -> None:
    """Write a new scene file; raises SceneError if it exists or cannot be written."""
    if path.exists():
        raise SceneError(f"{path}: exists already and is left alone")
    try:
        write_whole(path, text.encode())
    except OSError as problem:
        raise SceneError(f"{path}: cannot be written: {problem.strerror or problem}") from None
