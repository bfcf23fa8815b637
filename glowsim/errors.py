"""The errors a user can meet, and the help that goes into their text.

    GlowsimError
    ├── SceneError      the scene file: a key, a value, a name
    ├── GeometryError   a mesh or a shape that cannot be made right
    ├── MaterialError   the catalogue, or an entry of the user's own
    ├── ReadingsError   readings of a test piece: a key, a value, or all of them together
    ├── SolveError      light transport could not be computed
    └── PictureError    a picture could not be drawn or written

A message says what is wrong, where (file, line, key or place in mm) and what to do.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

MOST_CHARACTERS = 600
"""Of a line of a message: longer ones echo bad input, and are cut in the middle."""
MOST_LINES = 40


def cut_short(text: str) -> str:
    """Return a message with long lines cut in their middle, and lines past `MOST_LINES` counted."""
    lines = text.split("\n")
    more = len(lines) - MOST_LINES
    if more > 1:
        lines = [*lines[:MOST_LINES], f"... and {more} more lines like these"]
    half = MOST_CHARACTERS // 2
    return "\n".join(
        line if len(line) <= MOST_CHARACTERS else f"{line[:half]} ... {line[-half:]}"
        for line in lines
    )


class GlowsimError(Exception):
    """Base of all errors whose text is meant for the user; what it echoes is cut short."""

    def __str__(self) -> str:
        return cut_short(super().__str__())


class SceneError(GlowsimError):
    """The scene file is wrong: a key, a value or a name in it."""


class GeometryError(GlowsimError):
    """A mesh or a shape cannot be used, nor repaired safely."""


class MaterialError(GlowsimError):
    """A catalogue entry is wrong or missing."""


class ReadingsError(GlowsimError):
    """Readings of a test piece are wrong, or no one material explains them."""


class SolveError(GlowsimError):
    """Light transport could not be computed."""


class PictureError(GlowsimError):
    """A picture could not be drawn or written."""


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return '; did you mean ...?' with the nearest known name, or a list of what is known.

    A short list of known names is given whole when nothing comes near.
    """
    names = sorted(known)
    near = difflib.get_close_matches(name.lower(), [n.lower() for n in names], n=1, cutoff=0.55)
    if near:
        original = next(n for n in names if n.lower() == near[0])
        return f"; did you mean '{original}'?"
    if not names:
        return ""
    shown = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"; known: {shown}"


def as_options(option: str, names: Iterable[str]) -> str:
    """Return a choice as it is typed: '--body "spike 1" or --body "spike 2"'."""
    typed = [f'{option} "{name}"' for name in names]
    return " or ".join([", ".join(typed[:-1]), typed[-1]] if len(typed) > 1 else typed)
