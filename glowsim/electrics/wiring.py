"""What reaches each board through its wires: voltage, current, and how its light suffers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from glowsim.catalogue import Wire
from glowsim.electrics.harness import Harness
from glowsim.electrics.loads import IDLE_FULL_V, LitBoard
from glowsim.electrics.network import Network, solve_network
from glowsim.geometry.mesh import FloatArray, IntArray


@dataclass(frozen=True)
class Feed:
    """What stands at the start of the wiring: a voltage without load and an inner resistance."""

    rest_v: float
    ohm: float = 0.0


@dataclass(frozen=True)
class State:
    """All boards at one set of levels.

    board_v, board_ma : (boards,) float;  share : (boards, 3) float, of full current per channel
    node_v            : (nodes,) float, the supply first
    run_ma            : (runs,) float, of every run; below 0 where it flows towards its start
    supply_v          : at the start of the wiring, the battery's sag taken off
    supply_ma         : all of it;  wire_loss_w : turned to heat in wires and joints
    """

    board_v: FloatArray
    board_ma: FloatArray
    share: FloatArray
    node_v: FloatArray
    run_ma: FloatArray
    supply_v: float
    supply_ma: float
    wire_loss_w: float


class Circuit:
    """The boards of a prop with their wiring: solves for any feed and any levels.

    Levels are shares of full drive per board and channel, (boards, 3), on average over the
    controller's quick switching: what the voltage drops by on average. With all LEDs of all boards
    switched on in the same instant the drop is deeper for that instant; capacitors at the boards
    are there for that.
    """

    def __init__(self, boards: tuple[LitBoard, ...], harness: Harness | None) -> None:
        """Prepare the network. Without a harness every board sees the supply itself."""
        self._boards = boards
        self._runs = harness.every_run if harness else ()
        self._node = np.array(harness.node_of_board(len(boards)) if harness else [0] * len(boards))
        self._channel_a = np.array([b.channel_ma for b in boards]).reshape(-1, 3) / 1000
        self._idle_a = np.array([b.idle_ma for b in boards]) / 1000
        self._curves = _Curves(boards)
        # Node 0 is the source behind the battery's resistance, node 1 the supply.
        names = {name: k for k, name in enumerate(harness.nodes if harness else ("supply",), 1)}
        start = [0, *(names[run.start] for run in self._runs)]
        end = [1, *(names[run.end] for run in self._runs)]
        self._node_count = 1 + len(names)
        self._node = self._node + 1
        self._start: IntArray = np.array(start, dtype=np.int64)
        self._end: IntArray = np.array(end, dtype=np.int64)
        self._run_ohm = np.array([run.loop_ohm for run in self._runs])
        self._last: FloatArray | None = None

    def state(self, feed: Feed, levels: FloatArray) -> State:
        """Return the state at levels (boards, 3); raises SolveError if it cannot be found."""
        ohm = np.concatenate([[feed.ohm], self._run_ohm])
        network = Network(self._node_count, self._start, self._end, ohm)
        at_full = self._channel_a * levels

        def load(volts: FloatArray) -> tuple[FloatArray, FloatArray]:
            share, rise = self._curves(volts[self._node])
            idle = np.clip(volts[self._node] / IDLE_FULL_V, 0, 1)
            idle_rise = (volts[self._node] > 0) & (volts[self._node] < IDLE_FULL_V)
            current = (at_full * share).sum(axis=1) + self._idle_a * idle
            slope = (at_full * rise).sum(axis=1) + self._idle_a * idle_rise / IDLE_FULL_V
            size = network.node_count
            total = np.bincount(self._node, current, size).astype(float)
            return total, np.bincount(self._node, slope, size).astype(float)

        volts = solve_network(network, feed.rest_v, load, self._last)
        self._last = volts
        board_v = volts[self._node]
        share, _ = self._curves(board_v)
        idle = np.clip(board_v / IDLE_FULL_V, 0, 1)
        board_a = (at_full * share).sum(axis=1) + self._idle_a * idle
        run_a = network.currents_a(volts)[1:]
        return State(
            board_v,
            1000 * board_a,
            share,
            volts[1:],
            1000 * run_a,
            float(volts[1]),
            1000 * float(board_a.sum()),
            float((run_a**2 * self._run_ohm).sum()),
        )


class _Curves:
    """The share of full current of all boards' channels, with its slope, at board voltages."""

    def __init__(self, boards: tuple[LitBoard, ...]) -> None:
        self._low, self._high = np.zeros((2, len(boards), 3))
        for k, lit in enumerate(boards):
            self._low[k], self._high[k] = lit.board.fading_v

    def __call__(self, volts: FloatArray) -> tuple[FloatArray, FloatArray]:
        span = self._high - self._low
        free = (volts[:, None] - self._low) / span
        return np.clip(free, 0, 1), np.where((free > 0) & (free < 1), 1 / span, 0.0)


def drops_if_held_v(harness: Harness, board_ma: FloatArray) -> FloatArray:
    """Return the loss to each board, (boards,), if all boards held their currents (boards,) [V].

    What sizing needs: boards whose current fades as the wires starve them would hide the loss.
    """
    nodes = harness.nodes
    loss = {nodes[0]: 0.0}
    for run, carried_ma in zip(harness.runs, run_currents_ma(harness, board_ma), strict=False):
        loss[run.end] = loss[run.start] + carried_ma / 1000 * run.loop_ohm
    return np.array([loss[nodes[n]] for n in harness.node_of_board(len(board_ma))])


def run_currents_ma(harness: Harness, board_ma: FloatArray) -> list[float]:
    """Return the current of every run if all boards held theirs [mA]; below 0 where it flows
    towards the run's start."""
    behind = {run.end: sum(board_ma[b] for b in run.boards) for run in harness.runs}
    given_ma = []
    if harness.second is not None:
        given_ma = [_second_ma(harness, board_ma)]
        behind[harness.second.end] -= given_ma[0]
    for run in reversed(harness.runs):
        if run.start in behind:
            behind[run.start] += behind[run.end]
    return [*(float(behind[run.end]) for run in harness.runs), *given_ma]


def _second_ma(harness: Harness, board_ma: FloatArray) -> float:
    """Return the current of a second feed [mA]: the voltage that its end lacks without it, over
    the resistance around the ring (Thevenin), which is that of all runs, as they lie in a line."""
    once = drops_if_held_v(replace(harness, second=None), board_ma)
    ring_ohm = sum(run.loop_ohm for run in harness.every_run)
    return 1000 * float(once[list(harness.runs[-1].boards)].max()) / ring_ohm if ring_ohm else 0.0


def thinnest_wire(
    harness: Harness, board_ma: FloatArray, wires: Iterable[tuple[str, Wire]], fuse_a: float = 0.0
) -> str | None:
    """Return the thinnest gauge that, used throughout, keeps every board within the drop limit.

    Inside foam it must bear what it carries, and the fuse before it. None if no known wire does.
    """
    carried_a = max(map(abs, run_currents_ma(harness, board_ma))) / 1000
    for name, wire in wires:
        if wire.buried_a < max(carried_a, fuse_a):
            continue
        tried = harness.rewired(partial(replace, gauge=name, wire=wire))
        if drops_if_held_v(tried, board_ma).max() <= harness.drop_limit_v:
            return name
    return None
