"""The catalogue as a whole: what ships with the project, and a user's own entries.

A scene file may hold tables `[materials.my_foam]`, `[coats.my_tape]`, `[boards.my_ring]`,
`[batteries.my_pack]`.
They obey the same rules as the shipped entries, and may start from one with `like`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from typing import Any, Literal, TypeVar

from glowsim.catalogue.battery import Battery
from glowsim.catalogue.board import Board
from glowsim.catalogue.coat import Coat
from glowsim.catalogue.entry import Entry
from glowsim.catalogue.material import Material
from glowsim.catalogue.wire import Wire, nearest_size
from glowsim.errors import MaterialError, did_you_mean
from glowsim.tomlfile import KeyPath, TomlText, parse_toml, validate_data

Kind = Literal["material", "coat", "board", "battery", "wire"]
AnyEntry = TypeVar("AnyEntry", bound=Entry)

PROVENANCE = ("label", "source", "confidence", "notes", "like")
"""Keys that belong to one entry and are not taken over through `like`."""


@dataclass(frozen=True)
class Catalogue:
    """All known entries by name."""

    materials: dict[str, Material]
    coats: dict[str, Coat]
    boards: dict[str, Board]
    batteries: dict[str, Battery]
    wires: dict[str, Wire]
    """From thin to thick."""

    def material(self, name: str) -> Material:
        """Return a volume material; raises MaterialError with the nearest known name."""
        return self._entry("material", self.materials, name)

    def coat(self, name: str) -> Coat:
        """Return a thin layer or surface; raises MaterialError with the nearest known name."""
        return self._entry("coat", self.coats, name)

    def board(self, name: str) -> Board:
        """Return a light board; raises MaterialError with the nearest known name."""
        return self._entry("board", self.boards, name)

    def battery(self, name: str) -> Battery:
        """Return a battery; raises MaterialError with the nearest known name."""
        return self._entry("battery", self.batteries, name)

    def wire(self, name: str) -> Wire:
        """Return a wire; raises MaterialError with the nearest known size."""
        if reason := self.fault("wire", name):
            raise MaterialError(reason)
        return self.wires[name]

    def fault(self, kind: Kind, name: str) -> str | None:
        """Return why `name` cannot be used, naming the nearest, or None if it is known.

        For a caller who puts file, line and key of his own before it.
        """
        by_kind: dict[Kind, Mapping[str, Entry]] = {
            "material": self.materials,
            "coat": self.coats,
            "board": self.boards,
            "battery": self.batteries,
            "wire": self.wires,
        }
        if kind == "wire" and name not in self.wires:
            near = nearest_size(name, self.wires)
            return (
                f"there is no wire '{name}'; the nearest size is '{near}'"
                if near
                else (f"there is no wire '{name}'; known: {', '.join(self.wires)}")
            )
        return _unknown(kind, name, by_kind[kind])

    def _entry(self, kind: Kind, entries: Mapping[str, AnyEntry], name: str) -> AnyEntry:
        if reason := _unknown(kind, name, entries):
            raise MaterialError(reason)
        return entries[name]


def load_catalogue(
    scene: TomlText | None = None, tables: Mapping[str, Any] | None = None
) -> Catalogue:
    """Return the shipped catalogue with a scene's own entries added.

    scene  : the text they come from, which messages name
    tables : the tables `materials`, `coats`, `boards` and `batteries`; those of the text if None
    An own entry may take the name of a shipped one and then stands in its place. Without a source
    of its own an entry has source 'user', and confidence 'user', or 'measured' where it gives a
    measured transmittance. Raises MaterialError with file, line and key of every fault.
    """
    shipped = _shipped()
    if scene is None:
        return Catalogue(
            dict(shipped.materials),
            dict(shipped.coats),
            dict(shipped.boards),
            dict(shipped.batteries),
            shipped.wires,
        )
    toml = scene if tables is None else replace(scene, data=dict(tables))
    return Catalogue(
        _own_entries(Material, "materials", shipped.materials, toml),
        _own_entries(Coat, "coats", shipped.coats, toml),
        _own_entries(Board, "boards", shipped.boards, toml),
        _own_entries(Battery, "batteries", shipped.batteries, toml),
        shipped.wires,
    )


@lru_cache(maxsize=1)
def _shipped() -> Catalogue:
    return Catalogue(
        _shipped_entries(Material, "materials.toml"),
        _shipped_entries(Coat, "coats.toml"),
        _shipped_entries(Board, "boards.toml"),
        _shipped_entries(Battery, "batteries.toml"),
        _shipped_entries(Wire, "wires.toml"),
    )


def _shipped_entries(model: type[AnyEntry], file_name: str) -> dict[str, AnyEntry]:
    text = resources.files(__package__).joinpath(file_name).read_text(encoding="utf-8")
    toml = parse_toml(text, f"glowsim/catalogue/{file_name}", MaterialError)
    entries: dict[str, AnyEntry] = {}
    for name, written in toml.data.items():
        entries[name] = _validated(model, written, entries, toml, (name,))
    return entries


def _own_entries(
    model: type[AnyEntry], table: str, shipped: Mapping[str, AnyEntry], scene: TomlText
) -> dict[str, AnyEntry]:
    written_entries = scene.data.get(table, {})
    if not isinstance(written_entries, dict):
        raise MaterialError(
            f"{scene.where((table,))}: must hold one table for each entry, such as [{table}.mine]"
        )
    entries = dict(shipped)
    faults = []
    for name, written in written_entries.items():
        if isinstance(written, dict):
            confidence = "measured" if "measured_transmittance" in written else "user"
            written = {"label": name, "source": "user", "confidence": confidence} | written
        try:
            entries[name] = _validated(model, written, entries, scene, (table, name))
        except MaterialError as fault:
            faults.append(str(fault))
    if faults:
        raise MaterialError("\n".join(faults))
    return entries


def _validated(
    model: type[AnyEntry],
    written: Any,
    known: Mapping[str, AnyEntry],
    toml: TomlText,
    at: KeyPath,
) -> AnyEntry:
    """Return `written`, which stands at `at` in `toml`, as an entry, its `like` followed."""
    if not isinstance(written, dict):
        raise MaterialError(f"{toml.where(at)}: must be a table of keys and values")
    base_name = written.get("like")
    if isinstance(base_name, str):
        if base_name not in known:
            reason = _why_not_a_base(model.__name__.lower(), base_name, known, toml, at)
            raise MaterialError(f"{toml.where((*at, 'like'))}: {reason}")
        written = _taken_over(known[base_name], written) | written
    return validate_data(model, written, toml, at, MaterialError)


def _why_not_a_base(
    kind: str, base_name: str, known: Mapping[str, Entry], toml: TomlText, at: KeyPath
) -> str | None:
    siblings = toml.data
    for key in at[:-1]:
        siblings = siblings[str(key)]
    if base_name in siblings:
        return f"'{base_name}' must stand above the entry that starts from it, and be right"
    return _unknown(kind, base_name, known)


def _taken_over(base: Entry, written: Mapping[str, Any]) -> dict[str, Any]:
    """Return what `base` was written with, less what the keys in `written` make void."""
    void = {key for given in written for key in base.voided_by.get(given, ())}
    kept = base.model_dump(exclude_unset=True)
    return {key: value for key, value in kept.items() if key not in void.union(PROVENANCE)}


def _unknown(kind: str, name: str, entries: Mapping[str, Entry]) -> str | None:
    """Return the reason why `name` is not among `entries`, or None if it is."""
    return None if name in entries else f"there is no {kind} '{name}'{did_you_mean(name, entries)}"
