"""What to do at a place that may be at fault, and what to read there: volts, mA, ohms."""

from __future__ import annotations

from glowsim.electrics.data_line import BIT_US, DataOutput, Row, pin_words
from glowsim.electrics.loads import LitBoard
from glowsim.electrics.outputs import HIGH_SHARE
from glowsim.electrics.pack import BATTERY_STATES
from glowsim.electrics.trace_graph import Graph

METER_OHM = 0.3
"""What test leads and an ordinary meter add."""
ON_SHARES = (0.32, 0.64)
"""Of a bit's time that the data line is high, for a 0 and for a 1 (0.4 and 0.8 of 1.25 us; data
sheets of addressable LEDs, from memory)."""
LEAST_READABLE_V = 0.05

CONTROLLER = "Its own lamp and supply; load a plain colour for all boards, and switch off and on."
GROUND = (
    "Battery off: minus of the controller to minus of the boards must beep, below 1 ohm. On: less "
    "than 0.1 V between them."
)
FUSE = (
    "Volts from behind the fuse to minus: {volts:.2f} V. None there and some before it: it has "
    "blown; look for a short before you fit another. Taken out it must beep."
)
SWITCH = "Volts behind the switch, plus to minus: {volts:.2f} V as before it."
OHMS = (
    "Battery off: each conductor from end to end at most {ohm:.2f} ohm, and "
    f"{METER_OHM:g} ohm of the meter; bend it while you measure. Plus to minus must not beep."
)
DATA_WIRE = "Battery off: {start} to data in of {name}, pad to pad, must beep; below 1 ohm."
FIRST_LED = (
    "Hold the data wire on data in of the second LED of {name}: lit from there on means the first "
    "LED is dead, and with it all that comes behind."
)
LAST_LED = (
    "Take the data from the LED before the last of {name}: the next board lit now means that the "
    "last LED passes nothing on."
)
INSIDE = (
    "Count from data in of {name}. Hold a wire from data out of the LED before {which} on data in "
    "of the LED behind it: lit from there on means {which}; change it or the board."
)
STRIP = (
    "Volts plus to minus on the cut marks of {name} on both sides of the place: the same on both, "
    "or the copper is torn there. Bend it while it is on; solder three short wires across."
)
CHANNEL = (
    "Swap the wires of {colour} and of another colour at the dimmer: if the fault moves with the "
    "output it is the dimmer, else wire or joint; battery off they must beep end to end."
)
ARROW = "The arrow on {name} points away from the controller, and the wire goes in at its foot."
ZONE = "Let {what} show the zone '{name}' at half level, steadily, and nothing else."


def battery(graph: Graph) -> str:
    """Return the test of the battery."""
    pack, state = graph.electrics.supply, graph.electrics.state_of_charge
    return (
        f"Volts at the battery's own plug, plus to minus: {pack.fresh_v:.2f} V fresh, "
        f"{graph.supply_v:.2f} V {state} with everything on at your settings. 0 V from a lithium "
        "pack: its protection has cut off; take the load away and charge it."
    )


def ends(start: str, end: str) -> tuple[str, str]:
    """Return how to begin at either end of a run."""
    return f"Look at the joints at {start}. ", f"Press the joints at {end} while it is on. "


def run(graph: Graph, number: int) -> str:
    """Return the volts and current of a run."""
    harness = graph.electrics.harness
    assert harness is not None, "asked for a scene with wiring"
    this = harness.every_run[number]
    before, after = graph.node_v(this.start), graph.node_v(this.end)
    return (
        f"At your settings, plus to minus: {before:.2f} V at {this.start}, {after:.2f} V at "
        f"{this.end}; volts at the first and none (or far less) at the second: it is between them. "
        f"Current through this pair: {graph.run_ma(number):.0f} mA."
    )


def tap(graph: Graph, number: int) -> str:
    """Return the test of a board's own joints."""
    board = graph.boards[number]
    return (
        f"Volts on the pads of {board.name}: {graph.sound.board_v[number]:.2f} V at your settings. "
        "The same at the wires beside it but not on the pads: its own joint. It should draw "
        f"{graph.sound.board_ma[number]:.0f} mA."
    )


def _data_v(graph: Graph, leds: int, bits: int) -> str:
    controller = graph.electrics.plan.scene_file.scene.controller
    busy = min(1.0, leds * bits * BIT_US * 1e-6 * controller.frames_per_second)
    low, high = (controller.logic_v * busy * share for share in ON_SHARES)
    if high < LEAST_READABLE_V:
        return "a meter is too slow for so few LEDs"
    return f"a meter shows {low:.2f} to {high:.2f} V while frames are sent, and steady 0 without"


def pin(graph: Graph, output: DataOutput, rows: str) -> str:
    """Return the test of a pin."""
    bits = graph.boards[output.rows[0][0]].board.data_bits
    return (
        f"Hold the data wire of another pin, one that works, on data in of {rows}: lit now means "
        f"{pin_words(output.name)} or its wire. At the pin against minus "
        f"{_data_v(graph, output.led_count, bits)}."
    )


def link(graph: Graph, output: DataOutput, row: Row, place: int) -> str:
    """Return the test of the data at a board's input."""
    boards = [graph.boards[n] for n in row[place:]]
    leds, bits = sum(b.led_count for b in boards), boards[0].board.data_bits
    name = boards[0].name
    good = "the pin" if place == 0 else f"data out of {graph.boards[row[place - 1]].name}"
    return (
        f"Hold a spare wire from {good} on data in of {name}: lit now means wire or joint. At data "
        f"in against minus {_data_v(graph, leds, bits)}."
    )


def halves(graph: Graph, number: int) -> tuple[str, str]:
    """Return the last LED of a board that is right and the first that is not, in words."""
    lit = graph.lit_first.get(number)
    if lit is None:
        return "its last LED that is right", "its first LED that is not"
    return f"LED {lit}", f"LED {lit + 1}"


def level(logic_v: float, board_v: float, name: str) -> str:
    """Return the test of the data's level."""
    return (
        f"Volts at {name}: {board_v:.2f} V; its first LED wants {HIGH_SHARE:g} of that, "
        f"{HIGH_SHARE * board_v:.2f} V, and the controller gives {logic_v:g} V. Try a level "
        "shifter, a shorter first wire, or a supply that is half a volt lower: better now means "
        "the level."
    )


def low(graph: Graph, worst: int) -> str:
    """Return the test of a supply that has sagged."""
    board = graph.boards[worst]
    empty = graph.electrics.circuit.state(
        graph.electrics.supply.feed(BATTERY_STATES["nearly empty"]), graph.electrics.drawn
    )
    return (
        f"Volts at {board.name}, at your settings: {graph.sound.board_v[worst]:.2f} V "
        f"{graph.electrics.state_of_charge}, {empty.board_v[worst]:.2f} V nearly empty; its chips "
        f"need {board.board.supply_min_v:g} V and full colours {max(board.board.fading_v[1]):g} V. "
        "Turn everything down: better now means the supply."
    )


def alone(board: LitBoard) -> str:
    """Return the test of a board by itself."""
    return (
        f"Put a board that works in its place. Alone on {board.board.supply_v:g} V: "
        f"{board.idle_ma:.0f} mA dark, and each colour in turn at a tenth of full "
        + ", ".join(
            f"{name} {board.idle_ma + ma / 10:.0f} mA"
            for name, ma in zip(("red", "green", "blue"), board.channel_ma.tolist(), strict=True)
        )
        + "."
    )
