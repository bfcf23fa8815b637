"""`glowsim explain`: what a key of the scene file means, with an example."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import click
import tomlkit

from glowsim.catalogue import load_catalogue
from glowsim.cli.catalogue import KINDS as ENTRIES
from glowsim.cli.common import console
from glowsim.cli.demo import demo_folder
from glowsim.cli.schema import whole_schema
from glowsim.errors import GlowsimError, did_you_mean

UNITS = (
    *(("_per_mm", "1/mm"), ("_mm", "mm"), ("_deg", "degrees"), ("_mah", "mAh"), ("_ma", "mA")),
    *(("_cd_m2", "cd/m2"), ("_lx", "lux"), ("_lm", "lumens"), ("_nm", "nm"), ("_mohm", "milliohm")),
    *(("_kg_m3", "kg/m3"), ("_hours", "hours"), ("_us", "microseconds"), ("_ohm", "ohm")),
    *(("_w_mk", "W/mK"), ("_w_m2k", "W/m2K"), ("_j_kgk", "J/kgK"), ("_k_w", "degrees per watt")),
    *(("_v", "volts"), ("_w", "watts"), ("_s", "seconds"), ("_c", "degrees Celsius")),
    *(("_k", "kelvin"), ("_cd", "candela"), ("_years", "years")),
)
"""How a key ends, and what it then counts in; the longer ending first."""
KINDS = {"number": "a number", "integer": "a whole number", "string": "a text"} | {
    "boolean": "true or false",
    "object": "a table",
}


@dataclass(frozen=True)
class Key:
    """A key where it may stand.

    home: the keys that lead to its table, as `bodies.lights`
    kind: of a table that comes in kinds, which, as 'spike'
    """

    home: str
    kind: str
    name: str
    field: dict[str, Any]
    needed: bool

    @property
    def path(self) -> tuple[str, ...]:
        """All its names, outermost first."""
        parts = (*self.home.split("."), self.kind, self.name)
        return tuple(part for part in parts if part)


@click.command(
    name="explain",
    epilog="Examples:\n\n  glowsim explain tilt_deg\n\n  glowsim explain spike.length_mm\n\n"
    "  glowsim explain lights",
)
@click.argument("key")
def command(key: str) -> None:
    """Say what KEY means in a scene file: where it stands, its unit, limits, an example.

    With a name before it, as in `spike.length_mm`, only the one that belongs there; the name of a
    table, such as `lights`, or of a kind, such as `spike`, lists what may stand in it.
    """
    schema = whole_schema()
    keys = list(_keys(schema, schema, "", ()))
    wanted = tuple(key.replace("[]", "").split("."))
    found = [known for known in keys if _fits(known.path, wanted)]
    inside = [known for known in keys if known.home.split(".")[-len(wanted) :] == list(wanted)]
    if not found and len(wanted) == 1:
        found = [known for known in keys if known.name == "kind" and known.kind == key]
        inside = [known for known in keys if known.name != "kind" and known.kind == key]
    if not found:
        raise GlowsimError(f"a scene has no key '{key}'{_elsewhere(wanted[-1], keys)}")
    console().print("\n\n".join(_told(alike) for alike in _alike(found)))
    if inside:
        shown = sorted({f"  {k.name}" + (f"  ({k.kind})" if k.kind else "") for k in inside})
        console().print("\n".join(["", f"In {key}:", *shown]))


def _elsewhere(name: str, keys: list[Key]) -> str:
    """Return where a word that is no key is told of, or which key is near."""
    catalogue = load_catalogue()
    if any(name in getattr(catalogue, kind) for kind in ENTRIES):
        return f"; it stands in the catalogue: glowsim catalogue {name}"
    return did_you_mean(name, {word for known in keys for word in (known.name, known.kind) if word})


def _fits(path: tuple[str, ...], wanted: tuple[str, ...]) -> bool:
    """Return whether a key ends as asked for, and has the names before it, in their order."""
    rest = iter(path)
    return path[-1] == wanted[-1] and all(name in rest for name in wanted)


def _keys(
    schema: dict[str, Any], table: dict[str, Any], home: str, within: tuple[str, ...]
) -> Iterator[Key]:
    """Yield every key of a table and of the tables below it."""
    fields = table.get("properties", {})
    kind = fields.get("kind", {}).get("const", "")
    for name, field in fields.items():
        yield Key(home, kind, name, field, name in table.get("required", ()))
        for below in _tables(field):
            if below not in within:  # none holds itself, but none may ever go round for ever
                inner = schema["$defs"][below]
                yield from _keys(schema, inner, f"{home}.{name}".strip("."), (*within, below))


def _tables(field: Any) -> Iterator[str]:
    """Yield the names of the tables a key may hold."""
    if isinstance(field, dict):
        if "$ref" in field:
            yield field["$ref"].rsplit("/", 1)[1]
        for part in field.values():
            yield from _tables(part)
    elif isinstance(field, list):
        for part in field:
            yield from _tables(part)


def _alike(keys: list[Key]) -> list[list[Key]]:
    """Group keys that mean the same in several places."""
    groups: dict[str, list[Key]] = {}
    for key in keys:
        groups.setdefault(f"{key.kind}|{key.field}", []).append(key)
    return list(groups.values())


def _told(keys: list[Key]) -> str:
    """Return all there is to say of a key, with the places where it says the same."""
    key = keys[0]
    of = f" where kind is '{key.kind}'" if key.kind else ""
    if key.name == "kind" and key.kind:
        of = f' = "{key.kind}"'
    places = ", ".join(sorted({k.home or "the scene itself" for k in keys}))
    lines = [f"{key.name}{of}, in {places}"]
    lines.append("  " + " ".join(key.field.get("description", "").split()))
    lines.append("  " + "; ".join(_limits(key)))
    if example := next(filter(None, map(_example, keys)), None):
        lines.append(f"  as in {example[0]}.toml:  {example[1]}")
    return "\n".join(line for line in lines if line.strip())


def _limits(key: Key) -> list[str]:
    field = _plain(key.field)
    kind = _list(field) if field.get("type") == "array" else KINDS.get(field.get("type", ""), "")
    if choice := field.get("enum") or ([field["const"]] if "const" in field else []):
        kind = "one of " + ", ".join(f'"{word}"' for word in choice)
    unit = next((unit for ending, unit in UNITS if key.name.endswith(ending)), "")
    said = [f"{kind or 'a table'}{f' in {unit}' if unit else ''}{_range(field)}"]
    default = key.field.get("default")
    if default is not None and not isinstance(default, dict) and default not in ([], ""):
        said.append(f"left out: {tomlkit.item(default).as_string()}")
    elif key.needed:
        said.append("needed")
    return said


def _list(field: dict[str, Any]) -> str:
    """Return what a list is made of, where that is numbers of a fixed count."""
    count = len(field.get("prefixItems", ()))
    each = len(field.get("items", {}).get("prefixItems", ()))
    if count:
        return f"a list of {count} numbers"
    return f"a list of points of {each} numbers" if each else "a list"


def _range(field: dict[str, Any]) -> str:
    words = (
        *(("minimum", "at least"), ("ge", "at least"), ("exclusiveMinimum", "above")),
        *(("gt", "above"), ("maximum", "at most"), ("le", "at most")),
        *(("exclusiveMaximum", "below"), ("lt", "below")),
    )
    told = " and ".join(f"{word} {field[name]:g}" for name, word in words if name in field)
    return f", {told}" if told else ""


def _plain(field: dict[str, Any]) -> dict[str, Any]:
    """Return a field without the 'or nothing' that stands for a key left out."""
    options = [option for option in field.get("anyOf", ()) if option.get("type") != "null"]
    # A length is a number, or a text with its unit: the number is told.
    return {**field, **_plain(options[0])} if options else field


def _example(key: Key) -> tuple[str, str] | None:
    """Return a demo scene that says the key, and how it says it."""
    for scene in sorted((demo_folder() / "scenes").glob("*.toml")):
        tables = [tomllib.loads(scene.read_text(encoding="utf-8"))]
        for name in filter(None, key.home.split(".")):
            inner = [table[name] for table in tables if name in table]
            tables = [t for part in inner for t in (part if isinstance(part, list) else [part])]
            tables = [table for table in tables if isinstance(table, dict)]
        for table in tables:
            if key.name in table and table.get("kind", "") == key.kind:
                value = table[key.name]
                if isinstance(value, list) and value and isinstance(value[0], dict):
                    return scene.stem, f"[[{'.'.join(key.path)}]]"
                return scene.stem, f"{key.name} = {_inline(value)}"
    return None


def _inline(value: Any) -> str:
    """Return a value as TOML writes it within a line."""
    if isinstance(value, dict):
        table = tomlkit.inline_table()
        table.update(value)
        return table.as_string()
    return tomlkit.item(value).as_string()
