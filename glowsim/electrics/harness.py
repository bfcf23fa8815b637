"""The wiring of a scene as runs from node to node: what is solved, cut and drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from glowsim.catalogue import Wire
from glowsim.electrics.loads import LitBoard, in_one_row, named_boards
from glowsim.errors import SceneError
from glowsim.scene import SUPPLY, Bus, Chain, Star, Tree
from glowsim.tomlfile import KeyPath
from glowsim.transport.plan import Plan

ENDS_MM = 40.0
"""Added to each piece for stripping and joining both its ends (common practice, no source)."""
POWER_CONDUCTORS = ("plus", "minus")


@dataclass(frozen=True)
class WireRun:
    """A pair of wires, plus and minus, from one node to the next.

    boards   : numbers of the boards at its end
    wire     : the catalogue's figures of its gauge
    joint_ohm : of each conductor at its end: plugs and pads the current passes
    """

    start: str
    end: str
    length_mm: float
    gauge: str
    wire: Wire
    boards: tuple[int, ...]
    joint_ohm: float = 0.0

    @property
    def loop_ohm(self) -> float:
        """Resistance out and back."""
        return 2 * (self.length_mm * self.wire.ohm_per_mm + self.joint_ohm)


@dataclass(frozen=True)
class CutPiece:
    """Equal pieces of wire to cut: `length_mm` each, the ends included."""

    gauge: str
    conductor: str
    length_mm: float
    count: int
    runs: tuple[str, ...]


@dataclass(frozen=True)
class Harness:
    """All runs, from the supply outwards: a run starts at the supply or where an earlier ends.

    kind   : 'bus', 'chain', 'star' or 'tree';  drop_limit_v : as the scene wants it
    second : a pair more from the supply to the end of the last run, which closes a ring
    """

    kind: str
    runs: tuple[WireRun, ...]
    drop_limit_v: float
    second: WireRun | None = None

    @property
    def every_run(self) -> tuple[WireRun, ...]:
        """All runs, with the second feed last."""
        return self.runs if self.second is None else (*self.runs, self.second)

    def rewired(self, change: Callable[[WireRun], WireRun]) -> Harness:
        """Return the same wiring with every run changed."""
        second = None if self.second is None else change(self.second)
        return replace(self, runs=tuple(map(change, self.runs)), second=second)

    @property
    def nodes(self) -> tuple[str, ...]:
        """Names of the nodes, the supply first."""
        return (SUPPLY, *(run.end for run in self.runs))

    def node_of_board(self, board_count: int) -> list[int]:
        """Return the number of the node each board hangs on."""
        where = [0] * board_count
        for number, run in enumerate(self.runs, start=1):
            for board in run.boards:
                where[board] = number
        return where

    def without_copper(self) -> Harness:
        """Return the same wiring of wire without resistance: what is left is its joints."""
        return self.rewired(lambda run: replace(run, length_mm=0.0))


def harness_of(plan: Plan, boards: tuple[LitBoard, ...]) -> Harness | None:
    """Return the wiring of a scene, or None if it has none.

    Raises SceneError for a gauge or board that is not known, or boards wired twice or not at all.
    """
    wiring = plan.scene_file.scene.wiring
    if wiring is None:
        return None
    if not boards:
        raise plan.scene_file.fault(("wiring",), "no body has a light: there is nothing to wire")
    _check_gauges(plan)
    if isinstance(wiring, Tree):
        runs = _tree(plan, wiring, boards)
    elif isinstance(wiring, Star):
        runs = _star(plan, wiring, boards)
    else:
        runs = _line(plan, wiring, boards)
        if wiring.second_feed_mm is not None:
            second = replace(runs[-1], start=SUPPLY, length_mm=wiring.second_feed_mm, boards=())
            return Harness(wiring.kind, tuple(runs), wiring.drop_limit_v, second)
    return Harness(wiring.kind, tuple(runs), wiring.drop_limit_v)


def _star(plan: Plan, wiring: Star, boards: tuple[LitBoard, ...]) -> list[WireRun]:
    runs, hub = [], SUPPLY
    if wiring.feed_mm is not None:
        hub, feed = "hub", wiring.feed_gauge or wiring.gauge
        runs.append(WireRun(SUPPLY, hub, wiring.feed_mm, feed, plan.catalogue.wire(feed), ()))
    wire = plan.catalogue.wire(wiring.gauge)
    for numbers in in_one_row(_order(plan, wiring.boards, boards), boards):
        name = boards[numbers[0]].whole
        runs += _on(WireRun(hub, name, wiring.run_mm, wiring.gauge, wire, numbers), boards)
    return runs


def _line(plan: Plan, wiring: Bus | Chain, boards: tuple[LitBoard, ...]) -> list[WireRun]:
    joint_ohm = wiring.joint_mohm / 1000 if isinstance(wiring, Chain) else 0.0
    wire = plan.catalogue.wire(wiring.gauge)
    runs: list[WireRun] = []
    for numbers in in_one_row(_order(plan, wiring.boards, boards), boards):
        before, length = (runs[-1].end, wiring.spacing_mm) if runs else (SUPPLY, wiring.feed_mm)
        name = boards[numbers[0]].whole
        run = WireRun(before, name, length, wiring.gauge, wire, numbers, joint_ohm)
        runs += _on(run, boards)
    return runs


def _on(run: WireRun, boards: tuple[LitBoard, ...]) -> list[WireRun]:
    """Return a run, and those that go on from it along chains of boards, from each to the next."""
    linked = {n for n in run.boards if boards[n].link_mm and n - 1 in run.boards}
    runs = [replace(run, boards=tuple(n for n in run.boards if n not in linked))]
    for n in sorted(linked):
        start = boards[n - 1].whole if n - 1 in linked else run.end
        end = boards[n].whole
        runs.append(replace(run, start=start, end=end, length_mm=boards[n].link_mm, boards=(n,)))
    return runs


def _order(plan: Plan, names: tuple[str, ...], boards: tuple[LitBoard, ...]) -> list[int]:
    if not names:
        return list(range(len(boards)))
    order = named_boards(plan, boards, names, ("wiring", "boards"))
    _check_all_wired(plan, boards, [(n, ("wiring", "boards")) for n in order])
    return order


def _tree(plan: Plan, wiring: Tree, boards: tuple[LitBoard, ...]) -> list[WireRun]:
    hung: list[tuple[int, KeyPath]] = []
    runs = []
    for k, segment in enumerate(wiring.segments):
        at = ("wiring", "segments", k, "boards")
        mine = named_boards(plan, boards, segment.boards, at)
        hung += [(n, at) for n in mine]
        gauge = segment.gauge or wiring.gauge
        wire = plan.catalogue.wire(gauge)
        run = WireRun(segment.start, segment.end, segment.length_mm, gauge, wire, tuple(mine))
        runs += _on(run, boards)
    _check_all_wired(plan, boards, hung)
    ordered: list[WireRun] = []
    reached = {SUPPLY}
    while len(ordered) < len(runs):
        for run in runs:
            if run.start in reached and run.end not in reached:
                ordered.append(run)
                reached.add(run.end)
    return ordered


def _check_all_wired(
    plan: Plan, boards: tuple[LitBoard, ...], hung: list[tuple[int, KeyPath]]
) -> None:
    seen: set[int] = set()
    for number, at in hung:
        if number in seen:
            name = boards[number].name
            raise plan.scene_file.fault(at, f"'{name}' is wired twice; each board has one place")
        seen.add(number)
    left = [board.name for number, board in enumerate(boards) if number not in seen]
    if left:
        shown = ", ".join(left[:4]) + (f" and {len(left) - 4} more" if len(left) > 4 else "")
        raise plan.scene_file.fault(
            ("wiring",), f"no wire leads to {shown}; name every board in one of the `boards` lists"
        )


def _check_gauges(plan: Plan) -> None:
    wiring = plan.scene_file.scene.wiring
    assert wiring is not None, "asked for a scene with wiring"
    places: list[tuple[str | None, KeyPath]] = [(wiring.gauge, ("wiring", "gauge"))]
    if isinstance(wiring, Star):
        places.append((wiring.feed_gauge, ("wiring", "feed_gauge")))
    if isinstance(wiring, Tree):
        places += [
            (segment.gauge, ("wiring", "segments", k, "gauge"))
            for k, segment in enumerate(wiring.segments)
        ]
    faults = [
        str(plan.scene_file.fault(at, problem))
        for gauge, at in places
        if gauge is not None and (problem := plan.catalogue.fault("wire", gauge))
    ]
    if faults:
        raise SceneError("\n".join(faults))
