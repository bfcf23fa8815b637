"""Attributes of an object as plain data."""

from __future__ import annotations

from typing import Any


def picked(item: object, *names: str, **digits: int) -> dict[str, Any]:
    """Return attributes by name for JSON: some as they are, others rounded to so many digits.

    Tuples become lists, and None stays None.
    """
    plain = {name: getattr(item, name) for name in (*names, *digits)}
    for name, value in plain.items():
        if isinstance(value, tuple):
            plain[name] = list(value)
        elif name in digits and value is not None:
            plain[name] = round(float(value), digits[name])
    return plain
