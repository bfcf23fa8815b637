"""On which line each key of a TOML text stands.

The standard reader forgets places. This walks a text it has already accepted, so nothing is
checked again: tables, dotted and quoted keys, and what lies within arrays and inline tables.
"""

from __future__ import annotations

import re
import tomllib

KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN_VALUE = re.compile(r"[^,\[\]{}\n#]*")
_TEXT = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'",
    re.DOTALL,
)


def line_of_each_key(text: str) -> dict[KeyPath, int]:
    """Map each table, key and array item of a valid TOML text to its line, from 1."""
    return _Walk(text).lines


class _Walk:
    """One pass over a text, from the first character to the last."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._line_at, self._line = 0, 1
        self._counts: dict[KeyPath, int] = {}
        self.lines: dict[KeyPath, int] = {}
        table: KeyPath = ()
        while self._skip_blank():
            if self._next_is("["):
                table = self._header()
            else:
                self._assignment(table)

    def _header(self) -> KeyPath:
        """Pass '[a.b]' or '[[a.b]]'; return its path with the index of each array in it."""
        brackets = 2 if self._next_is("[[") else 1
        self._at += brackets
        line, keys = self._here(), self._keys()
        self._at += brackets
        path: KeyPath = ()
        for position, key in enumerate(keys, start=1):
            path = (*path, key)
            self.lines.setdefault(path, line)
            if position == len(keys) and brackets == 2:
                self._counts[path] = self._counts.get(path, -1) + 1
            if path in self._counts:
                path = (*path, self._counts[path])
                self.lines.setdefault(path, line)
        return path

    def _assignment(self, table: KeyPath) -> None:
        """Pass 'key = value' within `table`."""
        line, keys = self._here(), self._keys()
        for count in range(1, len(keys) + 1):
            self.lines.setdefault(table + keys[:count], line)
        self._at += 1
        self._skip_blank()
        self._value(table + keys)

    def _keys(self) -> tuple[str, ...]:
        """Pass a key, dotted or not; return its parts. Leaves the place on what follows it."""
        keys = []
        while True:
            self._skip_blank()
            quoted = _TEXT.match(self._text, self._at)
            found = quoted or _BARE.match(self._text, self._at)
            assert found, "the text is valid TOML"
            self._at = found.end()
            keys.append(tomllib.loads(f"x={found[0]}")["x"] if quoted else found[0])
            self._skip_blank()
            if not self._next_is("."):
                return tuple(keys)
            self._at += 1

    def _value(self, path: KeyPath) -> None:
        if self._next_is("["):
            self._array(path)
        elif self._next_is("{"):
            self._inline_table(path)
        else:
            found = _TEXT.match(self._text, self._at) or _PLAIN_VALUE.match(self._text, self._at)
            assert found, "a plain value may be empty"
            self._at = found.end()

    def _array(self, path: KeyPath) -> None:
        self._at += 1
        index = 0
        while self._skip_blank() and not self._next_is("]"):
            item = (*path, index)
            self.lines[item] = self._here()
            self._value(item)
            self._skip_comma()
            index += 1
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        while self._skip_blank() and not self._next_is("}"):
            self._assignment(path)
            self._skip_comma()
        self._at += 1

    def _skip_comma(self) -> None:
        self._skip_blank()
        self._at += self._next_is(",")

    def _skip_blank(self) -> bool:
        """Pass blanks, ends of lines and comments; return whether anything follows."""
        found = _BLANK.match(self._text, self._at)
        assert found, "blanks may be none"
        self._at = found.end()
        return self._at < len(self._text)

    def _next_is(self, text: str) -> bool:
        return self._text.startswith(text, self._at)

    def _here(self) -> int:
        self._line += self._text.count("\n", self._line_at, self._at)
        self._line_at = self._at
        return self._line
