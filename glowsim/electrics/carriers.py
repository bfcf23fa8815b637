"""Which packs of the catalogue carry a prop for so many hours, the lightest first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from glowsim.electrics.pack import SETTLED, Choice, Pack, judged, own_converter
from glowsim.electrics.power import Electrics
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Converter

MOST_IN_SERIES = 4
MOST_PARALLEL = 8
WITH_CONVERTER = ("lithium",)
"""Kinds of cells that are usually put behind a converter; those before it, in series."""
BEFORE_CONVERTER = (1, 2)


def carriers(
    electrics: Electrics, hours: float, levels: FloatArray | None = None
) -> tuple[Choice, ...]:
    """Return every pack that carries average levels for so long on the prop's own wires.

    Of each way to put cells together the one with the fewest side by side; the lightest first,
    those of unknown mass last. Power banks are not put side by side.

    levels : (boards, 3) float, drive on average; as drawn if left out
    """
    if not electrics.boards:
        return ()
    average = electrics.average_levels() if levels is None else levels
    found = [_fewest(electrics, pack, average, hours) for pack in _arrangements(electrics)]
    return tuple(
        sorted((c for c in found if c is not None), key=lambda c: c.pack.mass_g or math.inf)
    )


def _arrangements(electrics: Electrics) -> Iterator[Pack]:
    """Yield every way to feed the boards: cells in series straight, or behind a converter."""
    boards = [lit.board for lit in electrics.boards]
    least_v = max(board.supply_min_v for board in boards)
    most_v = min(board.supply_max_v for board in boards)
    own, seen = electrics.own_pack, set()
    if own is not None:
        seen.add((own.battery, own.in_series, own.converter))
        yield replace(own, in_parallel=1)
    for key, battery in electrics.plan.catalogue.batteries.items():
        inside = own_converter(battery)
        straight: list[tuple[int, Converter | None]] = [
            (n + 1, None) for n in range(MOST_IN_SERIES)
        ]
        ways = [(1, inside)] if inside else straight
        if battery.kind in WITH_CONVERTER:
            behind = Converter(output_v=boards[0].supply_v)
            ways += [(count, behind) for count in BEFORE_CONVERTER]
        for count, converter in ways:
            pack = Pack(key, battery, count, 1, converter)
            fits = pack.fresh_v >= least_v and pack.feed(SETTLED).rest_v <= most_v
            if fits and (battery, count, converter) not in seen:
                yield pack


def _fewest(electrics: Electrics, pack: Pack, average: FloatArray, hours: float) -> Choice | None:
    """Return a pack with as few cells side by side as will do; None if MOST_PARALLEL will not."""

    def tried(number: int) -> Choice | None:
        more = replace(pack, in_parallel=number)
        choice = judged(more, electrics.circuit, electrics.boards, average, hours)
        does = choice.verdict in ("yes", "with care") and choice.run.hours >= hours
        return choice if does else None

    high = 1 if pack.battery.output_v is not None else MOST_PARALLEL
    found, low = tried(high), 0
    # More cells never last shorter: halve what is between too few and enough.
    while found is not None and high - low > 1:
        middle = (low + high) // 2
        fewer = tried(middle)
        if fewer is None:
            low = middle
        else:
            found, high = fewer, middle
    return found
