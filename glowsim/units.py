"""The only unit conversions in the project. Inside, lengths are millimetres.

Lumens, candela per square metre, volts and milliamperes need no conversion; what does
stands here, so that a factor of 25.4 or 1e6 has one place to be right in.
"""

from __future__ import annotations

import re

from glowsim.errors import SceneError, did_you_mean

MM_PER_UNIT: dict[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "um": 0.001,
    "in": 25.4,
    "inch": 25.4,
    "ft": 304.8,
}
"""Length of each known unit in millimetres (the inch is exactly 25.4 mm, ISO 80000-3)."""

MM2_PER_M2 = 1.0e6
"""Square millimetres in a square metre."""

M_PER_MM = 1.0e-3
"""Metres in a millimetre: conductivities and film coefficients are given per metre."""

_QUANTITY = re.compile(r"^\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*([A-Za-z\"'µ]+)\s*$")


def mm_per_unit(unit: str) -> float:
    """Return the length of `unit` in millimetres.

    Raises SceneError for a unit that is not known, naming the nearest.
    """
    try:
        return MM_PER_UNIT[unit.strip().lower()]
    except KeyError:
        raise SceneError(
            f"'{unit}' is not a known unit of length{did_you_mean(unit, MM_PER_UNIT)}"
        ) from None


def length_mm(value: float | str) -> float:
    """Return a length in millimetres: a number is millimetres, a text carries its unit.

    `length_mm(3)` is 3.0, `length_mm("0.5 in")` is 12.7. Raises SceneError for a text that
    is not a number followed by a known unit.
    """
    if isinstance(value, bool):
        raise SceneError(
            f"{str(value).lower()} is not a length; write a number of mm or a text like '0.5 in'"
        )
    if isinstance(value, (int, float)):
        try:
            return float(value)
        except OverflowError:
            raise SceneError("so large a number is not a length") from None
    match = _QUANTITY.match(value)
    if not match:
        raise SceneError(f"'{value}' is not a length; write a number of mm or a text like '0.5 in'")
    number, unit = match.groups()
    return float(number) * mm_per_unit(unit)


def per_m2(per_mm2: float) -> float:
    """Convert a density per square millimetre to one per square metre."""
    return per_mm2 * MM2_PER_M2
