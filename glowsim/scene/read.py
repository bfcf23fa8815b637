"""Read, check and write scene files; a scene keeps the place of each key for later messages."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import tomlkit

from glowsim.errors import SceneError
from glowsim.files import written_whole
from glowsim.notebook import table_html
from glowsim.scene.bodies import Body
from glowsim.scene.lights import PATHS
from glowsim.scene.model import Scene
from glowsim.tomlfile import KeyPath, TomlText, parse_toml, read_toml, validate


@dataclass(frozen=True)
class SceneFile:
    """A scene together with the text it came from.

    Rooms that find a fault later (an unknown material, a light outside its body) use `fault`
    to name the file, the line and the key.
    """

    scene: Scene
    toml: TomlText
    folder: Path
    """Relative mesh paths start here."""
    battery: str = "half used"
    """The state of the battery that everything is worked out for, where the scene has one."""
    written_light: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    """By number of the body, the number that each of its lights has in the file, where lights
    along a path have been taken apart."""
    material_files: tuple[TomlText, ...] = ()
    """The files of `materials_from`; their entries stand among the scene's own."""

    @property
    def stem(self) -> str:
        """The scene's short name: that of its file, without the ending."""
        return Path(self.toml.name).stem

    def __repr__(self) -> str:
        bodies = len(self.scene.bodies)
        return f"SceneFile({self.toml.name!r}: {self.scene.title!r}, bodies: {bodies})"

    def _repr_html_(self) -> str:
        rows = [
            (
                body.name,
                body.shape.kind if body.shape else body.mesh.file if body.mesh else "",
                body.material,
                ", ".join(light.board for light in body.lights),
            )
            for body in self.scene.bodies
        ]
        return table_html(self.scene.title, ("body", "shape", "material", "boards"), rows)

    def on_battery(self, state: str) -> SceneFile:
        """Return the same scene on a battery 'fresh', 'half used', 'nearly empty', or at 'full
        voltage', without what battery and wires lose."""
        return replace(self, battery=state)

    def with_body(self, number: int, body: Body) -> SceneFile:
        """Return the same scene with another body in one's place; the text stays."""
        return replace(self, scene=self.scene.with_body(number, body))

    def fault(self, key_path: KeyPath, message: str) -> SceneError:
        """Return an error that names the place of `key_path` in the file."""
        key_path = self._as_written(key_path)
        return SceneError(f"{self.toml.where(key_path)}: {message}")

    def _as_written(self, key_path: KeyPath) -> KeyPath:
        """Return the key of a light, which may be a piece of one, as the file has it."""
        if len(key_path) < 4 or key_path[2] != "lights":
            return key_path
        body, light, rest = key_path[1], key_path[3], key_path[4:]
        if isinstance(body, int) and isinstance(light, int) and body in self.written_light:
            at = ("bodies", body, "lights", self.written_light[body][light])
            paths = [(*at, key) for key in PATHS]
            there = [path for path in paths if path in self.toml.lines]
            return there[0] if there and rest == ("position_mm",) else (*at, *rest)
        return key_path


def read_scene(path: str | os.PathLike[str]) -> SceneFile:
    """Read and validate a scene file. Raises SceneError naming every fault with its line."""
    file = Path(path)
    toml = read_toml(file, SceneError)
    return _scene_file(toml, file.resolve().parent)


def parse_scene(text: str, name: str = "scene", folder: Path | None = None) -> SceneFile:
    """Validate a scene given as text. Raises SceneError naming every fault with its line."""
    toml = parse_toml(text, name, SceneError)
    return _scene_file(toml, folder or Path.cwd())


def _scene_file(toml: TomlText, folder: Path) -> SceneFile:
    """Validate a scene; what its files of materials hold comes before its own entries."""
    scene = validate(Scene, toml, SceneError)
    texts = []
    entries: dict[str, Any] = {}
    for number, name in enumerate(scene.materials_from):
        at: KeyPath = ("materials_from", number)
        try:
            text = read_toml(folder / name, SceneError)
        except SceneError as problem:
            raise SceneError(f"{toml.where(at)}: {problem}") from None
        if list(text.data) != ["materials"] or not _are_tables(text.data["materials"]):
            raise SceneError(
                f"{toml.where(at)}: {name} must hold tables [materials.NAME] and nothing else"
            )
        if twice := sorted(entries.keys() & text.data["materials"].keys()):
            raise SceneError(f"{toml.where(at)}: '{twice[0]}' stands in an earlier file already")
        entries |= text.data["materials"]
        texts.append(text)
    if entries:
        scene = scene.model_copy(update={"materials": entries | scene.materials})
    return SceneFile(scene, toml, folder, material_files=tuple(texts))


def _are_tables(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(entry, dict) for entry in value.values())


def write_scene(scene: Scene, path: str | os.PathLike[str]) -> None:
    """Write a scene as TOML, whole or not at all; an existing file is left alone.

    Raises SceneError if the file exists or cannot be written.
    """
    file = Path(path)
    # Entries from files stand among the scene's own by now: it holds together wherever it goes.
    written = scene.model_dump(exclude_defaults=True, exclude={"materials_from"})
    _keep_facing(scene, written)
    text = tomlkit.dumps(_without_none(written))
    if file.exists():
        raise SceneError(f"{file}: exists already and is left alone; choose another name")
    try:
        with written_whole(file) as part:
            part.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise SceneError(f"{file}: cannot be written: {problem.strerror}") from None


def _keep_facing(scene: Scene, written: dict[str, Any]) -> None:
    """Write where lights along a wall or an edge face even if it is as they face elsewhere."""
    for k, body in enumerate(scene.bodies):
        for n, light in enumerate(body.lights):
            said = light.model_fields_set if light.runs_by_body else set()
            for key in {"facing", "direction"} & said:
                written["bodies"][k]["lights"][n][key] = getattr(light, key)


def scene_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scene file, for editors that complete and check TOML."""
    return Scene.model_json_schema()


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, (list, tuple)):
        return [_without_none(v) for v in value]
    return value
