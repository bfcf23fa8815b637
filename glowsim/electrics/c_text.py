"""Pieces of plain C: lists of numbers, and text that is safe in a comment."""

from __future__ import annotations

from collections.abc import Sequence

_PER_LINE = 16


def wrapped(values: Sequence[int]) -> list[str]:
    """Return numbers as lines of an initializer."""
    lines = [values[k : k + _PER_LINE] for k in range(0, len(values), _PER_LINE)]
    return ["    " + ", ".join(str(int(v)) for v in line) + "," for line in lines]


def in_comment(text: str) -> str:
    """Return text that cannot end a comment of C, nor run on to the next line."""
    return text.replace("*/", "* /").replace("/*", "/ *").rstrip("\\").replace("\n", " ")
