"""How the boards of a prop hang on each other: who loses supply or data when something breaks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from glowsim.electrics.data_line import DataOutput, Row
from glowsim.electrics.harness import WireRun
from glowsim.electrics.pack import BATTERY_STATES
from glowsim.electrics.power import Electrics
from glowsim.electrics.wiring import Circuit, State

OPEN_OHM = 1e6
"""Of each conductor of a pair that is broken."""
VISIBLE_LOSS = 0.3
"""Share of a colour's light that must go before somebody calls the colour wrong (assumption)."""

Boards = frozenset[int]
COLOURS = ("red", "green", "blue")
KINDS = (
    *("dark", "wrong colour", "flicker", "frozen", "only the first LEDs right"),
    *(f"no {colour}" for colour in COLOURS),
)


@dataclass(frozen=True)
class Symptoms:
    """Which boards are dark, of a wrong colour, flickering or frozen; numbers of boards.

    partly : boards whose first LEDs are right and the others not
    no_red, no_green, no_blue : boards of which one colour is gone, and only that
    """

    dark: Boards = frozenset()
    wrong_colour: Boards = frozenset()
    flicker: Boards = frozenset()
    frozen: Boards = frozenset()
    partly: Boards = frozenset()
    no_red: Boards = frozenset()
    no_green: Boards = frozenset()
    no_blue: Boards = frozenset()

    @property
    def all(self) -> Boards:
        """Every board with something wrong."""
        return frozenset().union(*self.by_kind)

    @property
    def by_kind(self) -> tuple[Boards, ...]:
        """The boards of each kind, in the order of KINDS."""
        gone = (self.no_red, self.no_green, self.no_blue)
        return (self.dark, self.wrong_colour, self.flicker, self.frozen, self.partly, *gone)

    @staticmethod
    def without(colours: Iterable[int], boards: Boards) -> Symptoms:
        """Return that some colours, by number, are gone from some boards."""
        gone = {f"no_{COLOURS[k]}": boards for k in colours}
        return Symptoms(**gone)

    def __or__(self, other: Symptoms) -> Symptoms:
        """Return both at once; a dark board shows nothing else."""
        dark = self.dark | other.dark
        rest = zip(self.by_kind[1:], other.by_kind[1:], strict=True)
        return Symptoms(dark, *((a | b) - dark for a, b in rest))

    def within(self, other: Symptoms) -> bool:
        """Return whether each of these is seen in `other`, or hidden by its being dark there."""
        pairs = zip(self.by_kind, other.by_kind, strict=True)
        return bool(self.all) and all(mine <= (seen | other.dark) for mine, seen in pairs)


class Graph:
    """The wiring of a prop, to be broken at one place at a time."""

    def __init__(self, electrics: Electrics, lit_first: Mapping[int, int] | None = None) -> None:
        """Solve the sound wiring as drawn, the battery in its state of charge.

        lit_first : by board, how many of its first LEDs are right, where somebody counted them
        """
        self.electrics = electrics
        self.lit_first = dict(lit_first or {})
        self.boards = electrics.boards
        self.outputs: tuple[DataOutput, ...] = electrics.data.outputs
        self.rows: tuple[tuple[DataOutput, Row], ...] = tuple(
            (output, row) for output in self.outputs for row in output.rows
        )

    @property
    def every_board(self) -> Boards:
        """All boards of the prop."""
        return frozenset(range(len(self.boards)))

    @property
    def with_data(self) -> Boards:
        """Those that data reach."""
        return frozenset(n for _, row in self.rows for n in row)

    def at_risk(self, boards: Iterable[int]) -> tuple[int, ...]:
        """Return the colours that some boards lose first as their supply sags, by number."""
        found: set[int] = set()
        for n in boards:
            board, used = self.boards[n].board, self.electrics.drawn[n] > 0
            full_v = np.where(used, board.fading_v[1], 0.0)
            if board.drive == "rgb" and used.any() and full_v.max() > full_v[used].min():
                found |= set(np.flatnonzero(full_v == full_v.max()).tolist())
        return tuple(sorted(found))

    def fades_when_empty(self) -> Boards:
        """Return the boards that lose a colour for all to see once the battery is nearly empty."""
        feed = self.electrics.supply.feed(BATTERY_STATES["nearly empty"])
        share = self.electrics.circuit.state(feed, self.electrics.drawn).share
        lost = (self.electrics.drawn > 0) & (share < 1 - VISIBLE_LOSS)
        return frozenset(np.flatnonzero(lost.any(axis=1)).tolist())

    @cached_property
    def sound(self) -> State:
        """The state as drawn."""
        return self.electrics.state_drawn()

    def node_v(self, node: str) -> float:
        """Return the volts between plus and minus at a point of the sound wiring."""
        harness = self.electrics.harness
        return float(self.sound.node_v[harness.nodes.index(node)]) if harness else self.supply_v

    @property
    def supply_v(self) -> float:
        """Voltage where the wiring begins."""
        return self.sound.supply_v

    def run_ma(self, number: int) -> float:
        """Return the current through run `number` of the sound wiring, as drawn [mA]."""
        return abs(float(self.sound.run_ma[number]))

    def behind(self, run: WireRun) -> Boards:
        """Return the boards whose supply comes through a run, in wiring without a ring."""
        harness = self.electrics.harness
        assert harness is not None, "asked for a scene with wiring"
        reached, found = {run.end}, set(run.boards)
        for later in harness.runs:
            if later.start in reached:
                reached.add(later.end)
                found |= set(later.boards)
        return frozenset(found)

    def without_data_from(self, dead: Iterable[int]) -> Boards:
        """Return dead boards with all that get their data through them."""
        lost = set(dead)
        for _, row in self.rows:
            first = next((k for k, n in enumerate(row) if n in lost), len(row))
            lost |= set(row[first:])
        return frozenset(lost)

    def opened(self, run: WireRun) -> Symptoms:
        """Return what is seen with a pair broken."""
        harness = self.electrics.harness
        assert harness is not None, "asked for a scene with wiring"
        if harness.second is None:
            return Symptoms(dark=self.without_data_from(self.behind(run)))
        broken = harness.rewired(lambda r: replace(r, joint_ohm=OPEN_OHM) if r is run else r)
        feed = self.electrics.supply.feed(self.electrics.used)
        state = Circuit(self.boards, broken).state(feed, self.electrics.drawn)
        return self.seen(state)

    def seen(self, state: State) -> Symptoms:
        """Return what a state of the wiring looks like beside the sound one."""
        least = np.array([b.board.supply_min_v for b in self.boards])
        sound_dark = self.sound.board_v < least
        dark = np.flatnonzero((state.board_v < least) & ~sound_dark).tolist()
        used = self.electrics.drawn > 0
        lost = used & (state.share < (1 - VISIBLE_LOSS) * self.sound.share)
        wrong = frozenset(np.flatnonzero(lost.any(axis=1)).tolist())
        gone = self.without_data_from(dark)
        return Symptoms(dark=gone, wrong_colour=wrong - gone)
