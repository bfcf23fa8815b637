"""The lights of a body as `check` lists them: one by one, or the LEDs of a strip together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.strips import leds_in_words
from glowsim.scene import Light, StripPiece


@dataclass(frozen=True)
class LightCheck:
    """One light of a body, in the body's frame.

    depth_mm : of its shallowest LED below the outer surface;  inside : what the LEDs sit in
    """

    name: str
    board: str
    leds: int
    centre_mm: tuple[float, ...]
    depth_mm: float
    inside: str


def strip_groups(lights: Sequence[Light], numbers: Iterable[int]) -> list[tuple[str, list[int]]]:
    """Return names and numbers of some lights of a body, the LEDs of one strip as one, and the
    boards of one chain."""
    groups: dict[tuple[str, int], list[int]] = {}
    for number in numbers:
        light = lights[number]
        key = ("strip", light.strip) if isinstance(light, StripPiece) else ("light", number)
        groups.setdefault(key, []).append(number)
    named = []
    for (kind, mark), group in groups.items():
        first = lights[group[0]]
        name = first.name or f"light {group[0] + 1}"
        if kind == "strip" and isinstance(first, StripPiece):
            mine = [
                k
                for k, one in enumerate(lights)
                if isinstance(one, StripPiece) and one.strip == mark
            ]
            each = "board" if first.chained else "LED"
            leds = [mine.index(n) for n in group]
            name = leds_in_words(first.strip_name, leds, len(mine), each)
        named.append((name, group))
    return named


def light_rows(
    lights: Sequence[Light], checks: Sequence[LightCheck]
) -> tuple[tuple[LightCheck, tuple[int, ...]], ...]:
    """Return what is listed, with the numbers of the lights each row stands for.

    LEDs of one strip that sit in the same thing are one row: its middle, its shallowest LED.
    """
    rows = []
    for inside in dict.fromkeys(check.inside for check in checks):
        mine = [n for n, check in enumerate(checks) if check.inside == inside]
        for name, group in strip_groups(lights, mine):
            centres = np.array([checks[n].centre_mm for n in group])
            row = replace(
                checks[group[0]],
                name=name,
                leds=sum(checks[n].leds for n in group),
                centre_mm=tuple(round(float(c), 1) + 0.0 for c in centres.mean(axis=0)),
                depth_mm=min(checks[n].depth_mm for n in group),
            )
            rows.append((row, tuple(group)))
    return tuple(sorted(rows, key=lambda row: row[1]))
