"""The light boards of a prop as an electrician counts them: every copy apart, with its currents."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from glowsim.catalogue import Board
from glowsim.errors import SceneError, did_you_mean
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patterns import copies_of
from glowsim.geometry.strips import leds_in_words
from glowsim.scene import Light, StripPiece
from glowsim.tomlfile import KeyPath
from glowsim.transport.plan import Plan

IDLE_FULL_V = 1.0
"""Below this voltage the dark chips' own current falls to nothing (assumption; it only keeps the
equations sound where nothing works any more)."""


@dataclass(frozen=True, kw_only=True)
class LitBoard:
    """One light board of the prop.

    name        : 'spike 1: board', each another;  copy, body : 'spike 1', 'spike'
    zone_rule   : as the scene writes the zone, '{copy}' for the number of the copy
    kind        : its name in the catalogue;  led_count : LEDs used
    channel_ma  : (3,) float, current of red, green, blue at full drive, the whole board; for a
                  white board a third of its one channel each
    idle_ma     : what its chips draw while dark
    drive       : (3,) float, 0..1, as drawn in the scene
    position_mm : (3,) float, in the prop's frame
    lights      : numbers of its lights in the glow
    whole       : name of what is bought and counted as one: the strip it is a piece of, uncut from
                  the next piece, else its own
    row, strip  : name of the strip or chain it is of, else its own; that one's number in its body,
                  else -1
    link_mm     : of a chain along a path, the wire from the board before, which is the one before
                  it here; 0 for its first and for all others
    """

    name: str
    copy: str
    body: str
    zone: str
    zone_rule: str
    kind: str
    board: Board
    led_count: int
    channel_ma: FloatArray
    idle_ma: float
    drive: FloatArray
    position_mm: FloatArray
    lights: tuple[int, ...]
    whole: str
    row: str
    strip: int = -1
    link_mm: float = 0.0

    def current_ma(self, levels: FloatArray | float, supply_v: float | None = None) -> float:
        """Return the average current (mA) at shares of full drive, (3,) or one, 0..1.

        supply_v : voltage at the board; full currents if left out.
        """
        share = 1.0 if supply_v is None else self.board.channel_share(supply_v)
        idle = 1.0 if supply_v is None else float(np.clip(supply_v / IDLE_FULL_V, 0, 1))
        return float(self.idle_ma * idle + np.sum(self.channel_ma * levels * share))

    @property
    def drawn_ma(self) -> float:
        """Current as drawn in the scene, at full supply [mA]."""
        return self.current_ma(self.drive)

    @property
    def white_ma(self) -> float:
        """Current with all channels full on, at full supply [mA]."""
        return self.current_ma(1.0)


def boards_of(plan: Plan) -> tuple[LitBoard, ...]:
    """Return all boards of a scene, in the order of the glow's lights."""
    boards: list[LitBoard] = []
    first = 0
    for body in plan.scene_file.scene.bodies:
        named = zip(body.copy_names, copies_of(body), strict=True)
        for number, (copy, transform) in enumerate(named):
            for k, light in enumerate(body.lights):
                board = plan.catalogue.board(light.board)
                leds = len(board.led_offsets_mm(light.led_count))
                count = leds if light.separate_leds else 1
                where = transform[:3, :3] @ np.array(light.position_mm) + transform[:3, 3]
                name = f"{copy}: {light.name or f'light {k + 1}'}"
                names = (_another(name, [b.name for b in boards]), copy, body.name)
                row = _row(light, copy, names[0], boards)
                numbers = tuple(range(first, first + count))
                boards.append(
                    _lit(light, board, leds, names, light.zone_of(number), where, numbers, row)
                )
                first += count
    return tuple(boards)


def _row(light: Light, copy: str, name: str, boards: list[LitBoard]) -> str:
    """Return the name of the strip or chain that a light is of, or its own."""
    if not isinstance(light, StripPiece):
        return name
    if boards and (boards[-1].copy, boards[-1].strip) == (copy, light.strip):
        return boards[-1].row
    return _another(f"{copy}: {light.strip_name}", [b.row for b in boards])


def _another(name: str, taken: list[str]) -> str:
    """Return a name that is not taken yet: a second 'spike: board' is 'spike: board (2)'."""
    number, found = 1, name
    while found in taken:
        number += 1
        found = f"{name} ({number})"
    return found


def _lit(
    light: Light,
    board: Board,
    leds: int,
    names: tuple[str, str, str],
    zone: str,
    position_mm: FloatArray,
    lights: tuple[int, ...],
    row: str,
) -> LitBoard:
    channel = np.array(board.channel_current_ma)
    if light.channel_current_ma is not None:
        channel = np.full(3, light.channel_current_ma)
    drive = np.array([light.drive.red, light.drive.green, light.drive.blue])
    if board.drive == "white":
        channel, drive = channel / 3, np.full(3, light.drive.white)
    name, copy, body = names
    piece = light if isinstance(light, StripPiece) else None
    chained = piece is not None and piece.chained
    return LitBoard(
        name=name,
        copy=copy,
        body=body,
        zone=zone,
        zone_rule=zone if light.zones else light.zone,
        kind=light.board,
        board=board,
        led_count=leds,
        channel_ma=leds * channel,
        idle_ma=leds * board.quiescent_ma,
        drive=drive,
        position_mm=position_mm,
        lights=lights,
        whole=name if chained else row,
        row=row,
        strip=piece.strip if piece else -1,
        link_mm=piece.length_mm if piece and chained else 0.0,
    )


def in_one_piece(numbers: Iterable[int], boards: Sequence[LitBoard]) -> list[tuple[int, ...]]:
    """Return numbers of boards with those of one strip together: what wires run between."""
    return _together(numbers, [board.whole for board in boards])


def in_one_row(numbers: Iterable[int], boards: Sequence[LitBoard]) -> list[tuple[int, ...]]:
    """Return numbers of boards with those of one strip or chain together."""
    return _together(numbers, [board.row for board in boards])


def _together(numbers: Iterable[int], names: Sequence[str]) -> list[tuple[int, ...]]:
    groups: dict[str, list[int]] = {}
    for number in numbers:
        groups.setdefault(names[number], []).append(number)
    return [tuple(group) for group in groups.values()]


def told_together(numbers: Iterable[int], boards: Sequence[LitBoard]) -> list[str]:
    """Return the names of boards, LEDs of one strip together: 'mask: brow strip, LEDs 4 to 9', and
    boards of one chain: 'mask: chain, boards 2, 3'."""
    rows = {boards[group[0]].row: group for group in in_one_row(range(len(boards)), boards)}
    told = []
    for group in in_one_row(sorted(numbers), boards):
        first = boards[group[0]]
        row = rows[first.row]
        each = "LED" if first.whole == first.row else "board"
        told.append(leds_in_words(first.row, [row.index(n) for n in group], len(row), each))
    return told


def named_boards(
    plan: Plan, boards: tuple[LitBoard, ...], names: tuple[str, ...], at: KeyPath
) -> list[int]:
    """Return the numbers of the boards that `names`, standing at key path `at`, mean.

    A name is that of a board ('spike 1: board'), strip or chain, of a copy ('spike 1') or of a body
    ('spike'). Raises SceneError for a name that means none, with the nearest.
    """
    numbers: list[int] = []
    faults = []
    for k, name in enumerate(names):
        found = [n for n, b in enumerate(boards) if name in (b.name, b.row, b.copy, b.body)]
        if not found:
            known = {word for b in boards for word in (b.whole, b.row, b.copy, b.body)}
            message = f"there is no board '{name}'{did_you_mean(name, known)}"
            faults.append(str(plan.scene_file.fault((*at, k), message)))
        numbers += found
    if faults:
        raise SceneError("\n".join(faults))
    return numbers
