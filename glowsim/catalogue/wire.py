"""Wires: what a length of them loses, and what current they bear."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from glowsim.catalogue.entry import Entry, Positive

RESISTIVITY_OHM_MM2_PER_M = 0.017241
"""Annealed copper at 20 C: the 100 % IACS of IEC 60028."""
IN_FOAM_SHARE = 0.5
"""Share of its rating in free air that a wire bears inside foam or a bundle (common practice,
no source)."""


class Wire(Entry):
    """One conductor of a size, at 20 C; copper gains 0.39 % of resistance per kelvin."""

    area_mm2: Positive
    ohm_per_km: Positive
    open_air_a: Positive
    """Current of a single wire in free air, as chassis wiring tables print it."""

    @property
    def ohm_per_mm(self) -> float:
        """Resistance of one conductor [ohm/mm]."""
        return self.ohm_per_km / 1e6

    @property
    def buried_a(self) -> float:
        """Current it bears inside foam or a bundle [A]."""
        return IN_FOAM_SHARE * self.open_air_a


def awg_diameter_mm(gauge: float) -> float:
    """Return the diameter of a solid wire by its AWG number: 0.127 mm x 92^((36 - n)/39).

    ASTM B258. Numbers above one are thinner wires.
    """
    return float(0.127 * 92.0 ** ((36.0 - gauge) / 39.0))


def nearest_size(name: str, wires: Mapping[str, Wire]) -> str | None:
    """Return the known wire nearest in cross-section to a size such as '23 AWG' or '0.3 mm2'.

    Of the same kind of size. None if the text tells no size.
    """
    found = re.fullmatch(r"([0-9.]{1,8}) (AWG|mm2)", name)
    if not found or not re.fullmatch(r"\d*\.?\d+|\d+\.", found[1]):
        return None
    value, unit = float(found[1]), found[2]
    area = math.pi / 4 * awg_diameter_mm(min(value, 99.0)) ** 2 if unit == "AWG" else value
    if area <= 0:
        return None
    alike = [size for size in wires if size.endswith(unit)]

    def away(size: str) -> tuple[float, float]:
        # Of two sizes equally far the thicker one: it can only lose less.
        return round(abs(math.log(wires[size].area_mm2 / area)), 2), -wires[size].area_mm2

    return min(alike, key=away, default=None)
