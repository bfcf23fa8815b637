"""The data wires as a drawing: the controller, its pins, the boards in the order of the data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from glowsim.buildsheet.drawing import LIGHT, Drawing, Path, Round
from glowsim.buildsheet.wiring_diagram import MOST_ROWS, ROW_MM, TEXT_MM, WIDTH_MM, box, fitted
from glowsim.electrics.data_line import pin_words
from glowsim.electrics.data_wires import DataWire
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.outputs import DataPlan

PIN_MM, BOARD_MM = 14.0, 22.0
"""Where pins and boards stand, from the left."""
TRUNK_MM = 4.0


@dataclass(frozen=True)
class _Line:
    """One line of the drawing: a pin, or a board with how its data wire comes to it."""

    text: str
    is_pin: bool
    from_pin: bool = False


def data_drawings(data: DataPlan, boards: tuple[LitBoard, ...]) -> list[Drawing]:
    """Return the data wires as drawings of a page at most each; none without data."""
    lines = _lines(data, boards)
    pages = [lines[k : k + MOST_ROWS] for k in range(0, len(lines), MOST_ROWS)]
    return [_page(page) for page in pages]


def _lines(data: DataPlan, boards: tuple[LitBoard, ...]) -> list[_Line]:
    lines = []
    wire_to = {wire.to_board: wire for wire in data.wires}
    for output in data.outputs:
        same = ", the same data side by side" if len(output.rows) > 1 else ""
        lines.append(_Line(f"{pin_words(output.name)}: {output.led_count} LEDs a row{same}", True))
        for row in output.rows:
            lines += [
                _Line(_board(boards[n], wire_to.get(n)), False, place == 0)
                for place, n in enumerate(row)
            ]
    return lines


def _board(board: LitBoard, wire: DataWire | None) -> str:
    text = f"{board.name} ({board.zone})"
    if wire is None:
        return text
    return f"{text}: {wire.length_mm:.0f} mm of {wire.gauge} from {wire.start}"


def _page(lines: Sequence[_Line]) -> Drawing:
    drawing = Drawing(WIDTH_MM, (len(lines) + 1) * ROW_MM + 6)
    top = drawing.height_mm - 4
    drawing.add(box(1.0, top - 2.2, 26.0, 5.0))
    drawing.words(14.0, top - 0.8, "controller", size_mm=TEXT_MM, anchor="middle")
    pin_y = last_y = top - 2.2
    last_pin = max((k for k, line in enumerate(lines) if line.is_pin), default=None)
    for number, line in enumerate(lines):
        y = top - (number + 1) * ROW_MM
        if line.is_pin:
            drawing.line((TRUNK_MM, y), (PIN_MM, y), width_mm=0.35)
            drawing.add(Round((PIN_MM, y), 0.9, 0.25, fill=(0.1, 0.1, 0.12)))
            pin_y = last_y = y
        else:
            # A row hangs on its pin; within a row the data go on from board to board.
            start = pin_y if line.from_pin else last_y
            x = PIN_MM if line.from_pin else BOARD_MM
            drawing.line((x, start), (x, y), (BOARD_MM, y), width_mm=0.35)
            drawing.add(Path(box(BOARD_MM - 1.3, y - 1.3, 2.6, 2.6).points, True, 0.25, fill=LIGHT))
            last_y = y
        x = PIN_MM if line.is_pin else BOARD_MM
        drawing.words(x + 3, y - 1.0, fitted(line.text, x), size_mm=TEXT_MM)
    if last_pin is not None:
        bottom = top - (last_pin + 1) * ROW_MM
        drawing.line((TRUNK_MM, top - 2.2), (TRUNK_MM, bottom), width_mm=0.35)
    return drawing
