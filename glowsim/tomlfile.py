"""TOML files a person writes: read them, validate them, and name the place of every fault.

The standard reader reports a line for broken syntax only. Here each key is found again in
the text, so that a wrong *value* is reported with its file, line and key path too, and all
faults of a file come in one message.
"""

from __future__ import annotations

import re
import tomllib
import types
import typing
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from glowsim.errors import GlowsimError, did_you_mean
from glowsim.tomllines import KeyPath as KeyPath
from glowsim.tomllines import line_of_each_key

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True)
class TomlText:
    """A parsed TOML text that remembers on which line each key stands."""

    name: str
    """What to call the text in messages: its path, as the user gave it."""
    data: dict[str, Any]
    text: str = ""
    """As it was read, comments and all."""

    @cached_property
    def lines(self) -> dict[KeyPath, int]:
        """The line of each key, looked up when something is to be said of one."""
        try:
            return line_of_each_key(self.text)
        except RecursionError:  # deeper by a bracket than the reader can go
            return {}

    def where(self, key_path: KeyPath) -> str:
        """Return 'file, line N: bodies[0].wall_mm'; the line is the nearest one known."""
        line = next(
            (
                self.lines[key_path[:n]]
                for n in range(len(key_path), 0, -1)
                if key_path[:n] in self.lines
            ),
            None,
        )
        place = f"{self.name}, line {line}" if line else self.name
        return f"{place}: {dotted(key_path)}" if key_path else place


def dotted(key_path: KeyPath) -> str:
    """Return a key path as a person writes it: ('bodies', 0, 'name') -> 'bodies[0].name'."""
    text = ""
    for part in key_path:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


def read_toml(path: Path, error: type[GlowsimError]) -> TomlText:
    """Read and parse a TOML file; raises `error` if it is missing, unreadable or broken."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise error(f"{path}: there is no such file") from None
    except (OSError, ValueError) as problem:
        raise error(f"{path}: cannot be read as text: {problem}") from None
    return parse_toml(text, str(path), error)


def parse_toml(text: str, name: str, error: type[GlowsimError]) -> TomlText:
    """Parse a TOML text called `name` in messages; raises `error` where its syntax is broken."""
    try:
        data = tomllib.loads(text)
        return TomlText(name, data, text)
    except RecursionError:
        raise error(f"{name}: not valid TOML: brackets are nested too deeply") from None
    except ValueError as problem:
        # Besides its own error the reader lets that of a number with thousands of digits pass.
        raise error(_broken(name, str(problem))) from None


_SYNTAX = {
    "Illegal character '\\n'": "the closing quote of a text is missing",
    "Unterminated string": "the closing quote of a text is missing",
    "Expected '=' after a key": "between a key and its value stands =, as in wall_mm = 2",
    "Invalid value": "no value can be read here; words stand in quotes, true and false without",
    "Invalid statement": "a key is expected here, as in wall_mm = 2",
    "Invalid initial character": "a key is expected here, as in wall_mm = 2",
    "Expected newline or end": "more follows the value here: one to a line, and 2.5, not 2,5",
    "Unclosed array": "the closing ] of a list is missing, or a comma within it",
    "Unclosed inline table": "the closing } is missing, or a comma before this",
    "Expected ']]'": "a heading that begins with [[ ends with ]]",
    "Expected ']'": "a heading that begins with [ ends with ]",
    "Cannot overwrite a value": "this key stands twice",
    "Duplicate inline table key": "this key stands twice",
    "Cannot declare": "this heading stands twice",
    "Unescaped '\\'": "a backslash is typed twice in a text, or use / in paths",
}
"""What the reader of TOML says at first, and that in plain words."""


def _broken(name: str, problem: str) -> str:
    """Return what to say of broken syntax: its file, line and fault in plain words."""
    said = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", problem)
    if said is None:
        return f"{name}: not valid TOML: {problem}"
    plain = next((text for start, text in _SYNTAX.items() if said[1].startswith(start)), said[1])
    place, column = (f"line {said[2]}", f", column {said[3]}") if said[2] else ("at its end", "")
    return f"{name}, {place}: {plain} (not valid TOML{column})"


def validate(model: type[Model], toml: TomlText, error: type[GlowsimError]) -> Model:
    """Return `toml` as a `model`; raises `error` naming every fault with its line and key."""
    return validate_data(model, toml.data, toml, (), error)


def validate_data(
    model: type[Model], data: Any, toml: TomlText, at: KeyPath, error: type[GlowsimError]
) -> Model:
    """Return `data`, which stands at key path `at` of `toml`, as a `model`; raises `error`."""
    try:
        return model.model_validate(data)
    except ValidationError as problems:
        faults = _without_echoes(problems.errors())
    messages = [_describe(model, toml, at, fault) for fault in faults]
    raise error("\n".join(dict.fromkeys(messages)))


def _without_echoes(faults: list[Any]) -> list[Any]:
    """Drop 'too short' where an item was only left out because it is faulty itself."""
    return [
        fault
        for fault in faults
        if fault["type"] != "too_short"
        or not any(
            other is not fault and other["loc"][: len(fault["loc"])] == fault["loc"]
            for other in faults
        )
    ]


def _describe(model: type[BaseModel], toml: TomlText, at: KeyPath, fault: Any) -> str:
    keys, owner, kind = _walk(model, tuple(fault["loc"]))
    limits = fault.get("ctx", {})
    if fault["type"] == "union_tag_invalid":
        keys = (*keys, limits["discriminator"].strip("'"))
    reason = _reason(fault, keys, owner)
    if fault["type"] == "union_tag_not_found":
        key = limits["discriminator"]
        known = ", ".join(f'"{tag}"' for tag in _tags(kind, key.strip("'")))
        reason = f"the key {key} is needed to say which kind this is: {known}"
    return f"{toml.where(at + keys + tuple(limits.get('at', ())))}: {reason}"


_COMPARISONS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}
_KINDS = {
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_parsing_size": "a whole number of a sensible size",
    "int_from_float": "a whole number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list in [square brackets] (or [[double brackets]] for tables)",
    "list_type": "a list in [square brackets]",
    "dict_type": "a table of keys and values",
    "model_type": "a table of keys and values",
    "model_attributes_type": "a table of keys and values",
}
"""What was wanted, by the kind of fault the validating library reports."""


def _reason(fault: Any, keys: KeyPath, owner: type[BaseModel] | None) -> str:
    """Say in plain words what is wrong with the value at `keys`."""
    kind, given = fault["type"], fault.get("input")
    limits = fault.get("ctx", {})
    if kind == "extra_forbidden":
        known = owner.model_fields if owner else []
        return f"unknown key{did_you_mean(str(keys[-1]), known)}"
    if kind == "missing":
        if isinstance(keys[-1], int):
            return "this value is missing; the list is too short"
        return "this key is needed but missing"
    if kind in ("union_tag_invalid", "literal_error", "enum"):
        expected = re.findall(
            r"'([^']*)'", str(limits.get("expected_tags") or limits.get("expected"))
        )
        value = shown(limits.get("tag", given))
        return f"{value} is not one of the choices{did_you_mean(value, expected)}"
    if kind in _COMPARISONS:
        limit, words = _COMPARISONS[kind]
        return f"{shown(given)} is out of range; it must be {words} {limits[limit]:g}"
    if kind == "float_type" and isinstance(given, int):
        return "this number is too large"
    if kind in _KINDS:
        return f"{shown(given)} is not {_KINDS[kind]}"
    if kind in ("too_short", "too_long"):
        wanted = limits.get("min_length", limits.get("max_length"))
        return f"has {limits.get('actual_length')} values; {wanted} needed"
    return str(fault["msg"]).removeprefix("Value error, ")


def shown(value: Any) -> str:
    """Return a value as TOML writes it, cut short if it is long."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{...}"
    if isinstance(value, int) and abs(value) >= 10**30:
        return "so large a number"
    text = repr(value) if isinstance(value, (str, int, float)) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _walk(model: type[BaseModel], loc: KeyPath) -> tuple[KeyPath, type[BaseModel] | None, Any]:
    """Follow `loc` through the model: return the keys as the user wrote them (without the
    union tags that pydantic adds), the model that owns the last key and what is wanted there."""
    keys: list[str | int] = []
    kind: Any = model
    owner: type[BaseModel] | None = model
    for part in loc:
        tagged = _tagged_member(kind, part)
        if tagged is not None:
            kind = tagged
            owner = kind
            continue
        keys.append(part)
        kind = _plain(kind)
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            owner = kind
            info = kind.model_fields.get(str(part))
            kind = _field_type(info) if info else None
        elif isinstance(part, int) or typing.get_origin(kind) is dict:
            arguments = typing.get_args(kind)
            kind = arguments[-1 if typing.get_origin(kind) is dict else 0] if arguments else None
    return tuple(keys), owner, kind


def _field_type(info: FieldInfo) -> Any:
    """Return a field's annotation, with its discriminator put back beside the union."""
    if info.discriminator:
        return typing.Annotated[info.annotation, info]
    return info.annotation


def _plain(kind: Any) -> Any:
    """Strip `Annotated[...]` and `... | None`."""
    if typing.get_origin(kind) is typing.Annotated:
        return _plain(typing.get_args(kind)[0])
    if typing.get_origin(kind) in (typing.Union, types.UnionType):
        members = [m for m in typing.get_args(kind) if m is not type(None)]
        return _plain(members[0]) if len(members) == 1 else kind
    return kind


def _tags(kind: Any, key: str) -> list[str]:
    """Return what `key` may say in a union of models, to tell which of them is meant."""
    plain = _plain(kind)
    if typing.get_origin(plain) in (typing.Union, types.UnionType):
        return [tag for member in typing.get_args(plain) for tag in _tags(member, key)]
    return list(typing.get_args(plain.model_fields[key].annotation))


def _tagged_member(kind: Any, tag: str | int) -> type[BaseModel] | None:
    """Return the member of a union of models whose literal tag is `tag`, if `kind` is one."""
    plain = _plain(kind)
    if typing.get_origin(plain) not in (typing.Union, types.UnionType):
        return None
    for member in typing.get_args(plain):
        member = _plain(member)
        if isinstance(member, type) and issubclass(member, BaseModel):
            for info in member.model_fields.values():
                if typing.get_origin(info.annotation) is typing.Literal and tag in typing.get_args(
                    info.annotation
                ):
                    return member
    return None
