"""Which output of the controller feeds which boards: as written, or a plan with what may share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from glowsim.electrics.data_line import DataOutput, Row, Shown, frame_ms, output_of
from glowsim.electrics.loads import LitBoard, named_boards
from glowsim.errors import SceneError
from glowsim.scene import Controller, Pin
from glowsim.tomlfile import KeyPath
from glowsim.transport.plan import Plan


def written_outputs(
    plan: Plan, boards: tuple[LitBoard, ...], shown: Shown
) -> tuple[DataOutput, ...]:
    """Return the outputs as the scene's pins say; raises SceneError for what cannot work.

    A board without a pin or with two, rows on one pin that would show different things, more LEDs
    than a frame has time for.
    """
    controller = plan.scene_file.scene.controller
    outputs = []
    seen: dict[int, str] = {}
    for number, pin in enumerate(controller.pins):
        rows = _rows(plan, boards, pin, number)
        for row in rows:
            for board in row:
                if board in seen:
                    raise _fault(
                        plan,
                        (number,),
                        f"'{boards[board].name}' is wired to '{seen[board]}' already; a board gets "
                        "its data from one place",
                    )
                seen[board] = pin.name
        _check_same(plan, boards, shown, number, rows)
        output = output_of(pin.name, boards, rows)
        if output.frame_ms > 1000 / controller.frames_per_second:
            raise _fault(plan, (number,), _too_long(output, controller))
        outputs.append(output)
    left = [b.name for n, b in enumerate(boards) if b.board.data_bits and n not in seen]
    if left:
        names = ", ".join(left[:4]) + (f" and {len(left) - 4} more" if len(left) > 4 else "")
        raise _fault(plan, (), f"no pin feeds {names}; name every board in one of the pins")
    return tuple(outputs)


def _fault(plan: Plan, at: KeyPath, message: str) -> SceneError:
    return plan.scene_file.fault(("controller", "pins", *at), message)


def _rows(plan: Plan, boards: tuple[LitBoard, ...], pin: Pin, number: int) -> list[Row]:
    key = "branches" if pin.branches else "boards"
    found = []
    for k, names in enumerate(pin.rows):
        at: KeyPath = ("controller", "pins", number, key, *((k,) if pin.branches else ()))
        row = tuple(named_boards(plan, boards, names, at))
        dumb = next((boards[n] for n in row if not boards[n].board.data_bits), None)
        if dumb is not None:
            raise plan.scene_file.fault(
                at, f"'{dumb.name}' is a '{dumb.kind}', which takes no data: it needs a dimmer"
            )
        found.append(row)
    return found


def _check_same(
    plan: Plan, boards: tuple[LitBoard, ...], shown: Shown, number: int, rows: list[Row]
) -> None:
    """Raise SceneError for a row that cannot take the data of the first one of its pin."""
    first = rows[0]
    for k, row in enumerate(rows[1:], start=1):
        if shown.same(first, row):
            continue
        names = f"'{_row_words(boards, first)}' and '{_row_words(boards, row)}'"
        if shown.length(first) != shown.length(row):
            counts = [sum(leds for leds, _ in shown.length(r)) for r in (first, row)]
            why = f"have {counts[0]} and {counts[1]} LEDs; rows side by side need the same boards"
        else:
            zones = [dict.fromkeys(boards[n].zone for n in r) for r in (first, row)]
            alike = zones[0] == zones[1]
            why = (
                "show different things: their drive or the stagger of their zone sets them apart"
                if alike
                else f"show different things (zones {', '.join(zones[0])}; {', '.join(zones[1])})"
            ) + "; one pin has one set of data: make them alike, or put them in one row (`boards`)"
        raise _fault(plan, (number, "branches", k), f"{names} {why}")


def _too_long(output: DataOutput, controller: Controller) -> str:
    return (
        f"'{output.name}' serves {output.led_count} LEDs in a row: a frame takes "
        f"{output.frame_ms:.1f} ms, and {controller.frames_per_second:g} frames a second leave "
        f"{1000 / controller.frames_per_second:.1f} ms; use another pin for some of them, or "
        f"{output.most_frames_per_second:.0f} frames a second"
    )


def _row_words(boards: Sequence[LitBoard], row: Row) -> str:
    names = list(dict.fromkeys(boards[n].whole for n in row))
    if len(names) > 3:
        return f"{names[0]} ... {names[-1]}"
    return ", ".join(names[:-1]) + " and " + names[-1] if len(names) > 1 else names[0]


@dataclass(frozen=True)
class Sharing:
    """Rows of boards brought together on fewer outputs.

    words : what shares a pin, and what that costs
    """

    outputs: tuple[DataOutput, ...]
    words: tuple[str, ...]


@dataclass(frozen=True)
class _Union:
    """Two groups that could share a pin, the best sorted first.

    kind  : 0 the same data, side by side; 1 one zone, 2 different zones, 3 different lengths, one
            row after the other; 4 side by side though they should show different things
    apart : how far their light is apart, or the time of a frame for rows of different length
    """

    kind: int
    apart: float
    one: int
    other: int

    @property
    def order(self) -> tuple[float, ...]:
        return (self.kind, self.apart, self.one, self.other)


def shared_outputs(
    boards: tuple[LitBoard, ...], rows: Sequence[Row], shown: Shown, controller: Controller
) -> Sharing:
    """Propose which rows share an output until the controller has enough of them.

    First those that show the same, side by side; then those of one zone, then those whose pulses
    are nearest, one behind the other, so that each can still show its own.
    """
    most = controller.outputs or len(rows)
    groups: list[list[Row]] = [[row] for row in rows]
    why: dict[tuple[Row, ...], _Union] = {}
    while len(groups) > most:
        unions = [
            union
            for a, b in combinations(range(len(groups)), 2)
            if (union := _union(boards, groups, a, b, shown, controller)) is not None
        ]
        if not unions:
            break
        best = min(unions, key=lambda union: union.order)
        one, other = groups[best.one], groups.pop(best.other)
        merged = one + other if best.kind in (0, 4) else [one[0] + other[0]]
        earlier = [why.pop(tuple(group)) for group in (one, other) if tuple(group) in why]
        groups[best.one] = merged
        why[tuple(merged)] = max([best, *earlier], key=lambda union: union.order)
    outputs = tuple(output_of(f"pin {k}", boards, group) for k, group in enumerate(groups, start=1))
    words = tuple(
        _shares(boards, output, why[output.rows]) for output in outputs if output.rows in why
    )
    return Sharing(outputs, words)


def _union(
    boards: tuple[LitBoard, ...],
    groups: list[list[Row]],
    one: int,
    other: int,
    shown: Shown,
    controller: Controller,
) -> _Union | None:
    """Return how two groups could share a pin, None if they cannot."""
    a, b = groups[one], groups[other]
    together = frame_ms([boards[n] for n in a[0] + b[0]])
    in_one_row = len(a) == len(b) == 1 and together <= 1000 / controller.frames_per_second
    if shown.length(a[0]) != shown.length(b[0]):
        return _Union(3, together, one, other) if in_one_row else None
    apart = max(shown.apart(x, y) for x in a for y in b)
    if all(shown.same(x, y) for x in a for y in b):
        return _Union(0, apart, one, other)
    zones = {boards[n].zone for row in (*a, *b) for n in row}
    kind = 4 if not in_one_row else 1 if len(zones) == 1 else 2
    return _Union(kind, apart, one, other)


def _shares(boards: tuple[LitBoard, ...], output: DataOutput, union: _Union) -> str:
    names = " and ".join(_row_words(boards, row) for row in output.rows)
    if len(output.rows) == 1:
        names = _row_words(boards, output.boards)
    if union.kind == 0:
        return f"{output.name} may feed {names} side by side: they show the same at any time."
    zones = " and ".join(f"'{zone}'" for zone in output.zones)
    if union.kind == 3:
        return (
            f"{output.name} may serve {names} in one row, as they are of different length: one "
            "more data wire from the end of each to the next."
        )
    near = f"{100 * union.apart:.0f} % of full level apart on average"
    if union.kind == 4:
        return (
            f"{output.name} is left to feed {names} side by side, nearest to each other ({near}): "
            "they would be one group. Give them one zone first, or use a controller with more "
            "outputs."
        )
    alike = f"all of the zone {zones}" if union.kind == 1 else f"nearest in their pulses ({zones})"
    return (
        f"{output.name} may serve {names} in one row, with one more data wire: {alike}, {near}. "
        "Each keeps its own pattern. As one group, in one zone, they may hang side by side "
        "(`branches`) without that wire."
    )


def pins_toml(boards: tuple[LitBoard, ...], outputs: Sequence[DataOutput]) -> str:
    """Return outputs as the lines of a scene file."""
    lines = []
    for output in outputs:
        names = [dict.fromkeys(boards[n].whole for n in row) for row in output.rows]
        rows = ["[" + ", ".join(map(_quoted, row)) + "]" for row in names]
        key = f"boards = {rows[0]}" if len(rows) == 1 else f"branches = [{', '.join(rows)}]"
        lines += ["[[controller.pins]]", f"name = {_quoted(output.name)}", key, ""]
    return "\n".join(lines[:-1])


def _quoted(name: str) -> str:
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
