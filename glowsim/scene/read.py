"""Read, check and write scene files; a scene keeps the place of each key for later messages."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from glowsim.errors import SceneError
from glowsim.files import written_whole
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
    material_files: tuple[TomlText, ...] = ()
    """The files of `materials_from`; their entries stand among the scene's own."""

    @property
    def stem(self) -> str:
        """The scene's short name: that of its file, without the ending."""
        return Path(self.toml.name).stem

    def fault(self, key_path: KeyPath, message: str) -> SceneError:
        """Return an error that names the place of `key_path` in the file."""
        return SceneError(f"{self.toml.where(key_path)}: {message}")


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
    return SceneFile(scene, toml, folder, tuple(texts))


def _are_tables(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(entry, dict) for entry in value.values())


def write_scene(scene: Scene, path: str | os.PathLike[str]) -> None:
    """Write a scene as TOML, whole or not at all; an existing file is left alone.

    Raises SceneError if the file exists or cannot be written.
    """
    file = Path(path)
    # Entries from files stand among the scene's own by now: it holds together wherever it goes.
    written = scene.model_dump(exclude_defaults=True, exclude={"materials_from"})
    text = tomlkit.dumps(_without_none(written))
    if file.exists():
        raise SceneError(f"{file}: exists already and is left alone; choose another name")
    try:
        with written_whole(file) as part:
            part.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise SceneError(f"{file}: cannot be written: {problem.strerror}") from None


def scene_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scene file, for editors that complete and check TOML."""
    return Scene.model_json_schema()


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, (list, tuple)):
        return [_without_none(v) for v in value]
    return value
