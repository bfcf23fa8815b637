"""The fuse: for which load, of which rating by which rule, of which type."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Rule = Literal["IEC", "UL"]

RATINGS_A: dict[Rule, tuple[float, ...]] = {
    "IEC": (
        *(0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0),
    ),
    "UL": (0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0),
}
"""Ratings of small cartridge fuses: the R10 series of IEC 60127, and those usual for North American
types (both lists from memory)."""
CARRIES: dict[Rule, float] = {"IEC": 1.0, "UL": 0.75}
"""Share of its rating that a fuse carries for long at 25 C. IEC 60127 fuses bear their rating for
long and must hold 1.5 times it for an hour; UL 248-14 fuses must open at 1.35 times theirs within
an hour, and are loaded to three quarters (schmelzleiter.de on comparing standards; ibex.tech on
European and American fuses; a fuse maker's guide on UL 248-14)."""
STANDARDS: dict[Rule, str] = {"IEC": "IEC 60127", "UL": "UL 248-14"}


@dataclass(frozen=True)
class FuseAdvice:
    """The fuse for a load.

    load_ma    : what it has to carry;  for_white : whether that is full white, or as drawn
    rule       : whose rating `fuse_a` is;  other_a : of the other rule, None if none is known
    """

    fuse_a: float
    load_ma: float
    for_white: bool
    rule: Rule
    other_a: float | None

    @property
    def label(self) -> str:
        """What to buy."""
        return f"{self.fuse_a:g} A time-lag (T), {STANDARDS[self.rule]}, for direct current"


def fuse_for(load_ma: float, rule: Rule = "IEC") -> float | None:
    """Return the smallest fuse that carries a load for long [A]; None above the largest."""
    needed = load_ma / 1000 / CARRIES[rule]
    return next((a for a in RATINGS_A[rule] if needed <= a * (1 + 1e-9)), None)


def advised(load_ma: float, for_white: bool, rule: Rule) -> FuseAdvice | None:
    """Return the fuse for a load by a rule; None if no small fuse carries it."""
    fuse_a = fuse_for(load_ma, rule)
    if fuse_a is None:
        return None
    other: Rule = "UL" if rule == "IEC" else "IEC"
    return FuseAdvice(fuse_a, load_ma, for_white, rule, fuse_for(load_ma, other))
