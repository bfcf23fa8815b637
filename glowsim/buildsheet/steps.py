"""How to build and test step by step, and what to look at after the first night."""

from __future__ import annotations

from glowsim.electrics.heat import HeatReport
from glowsim.electrics.power import PowerReport

LIMIT_SHARE = 1.3
"""Current limit of a bench supply over what is expected (common practice)."""
METER_OHM = 0.3
"""What test leads and an ordinary meter add."""


def steps(power: PowerReport) -> tuple[str, ...]:
    """Return the order of building and testing, with the figures to expect."""
    found = [
        "Check the paper first: the bar at the foot of every template page must measure 50.0 mm. "
        "If not, print again at 100 % (actual size).",
        "Cut and drill by the templates. Try every board in its hole before any glue.",
        "Test each board alone on the bench, outside the prop: a supply with a current limit, one "
        "board, each colour in turn. " + _alone(power),
        "Look at the data arrow on each board and mark in and out before you solder.",
        "Cut the wires by the cut list, mark both ends of each piece, solder, and put sleeve "
        "over every joint.",
        "Continuity, with nothing switched on: plus of the plug to plus of every board, minus to "
        "minus" + _ohms(power) + ". Plus to minus must not beep anywhere.",
        "Polarity: put the supply on without boards and measure at every plug: red lead on plus "
        "must read positive.",
        "Join grounds of battery and controller first, then power, then data. Fit the fuse last.",
    ]
    found += _zones(power)
    volts = _far(power)
    if volts:
        found.append(volts)
    found += [
        "Only now close the body. Leave every joint where it can be reached, or test it a second "
        "time before it is covered.",
        "Run the finished piece for an hour at its brightest show setting and feel it every ten "
        "minutes. A bench test of five minutes proves little: buried boards take longer than that "
        "to get warm.",
    ]
    return tuple(found)


def after_first_night(heat: HeatReport | None) -> tuple[str, ...]:
    """Return what to look at once the prop has been out for a night."""
    found = [
        "Wires where they leave the prop: bent, bare, pulled? Tug each one gently.",
        "Plugs and fuse holder: brown, soft or loose? They were too hot.",
        "Colours side by side at full level: a board that has turned yellow or red at the far end "
        "wants more voltage; one that flickers wants its joints looked at.",
        "The far boards against the near ones: the same brightness as on the first evening?",
        "Battery: hours until it was empty against what this sheet expects; any cell swollen, "
        "dented or hot goes to a collection point.",
        "Material around the boards: look for yellowing, shrinking, a soft place or a smell.",
        "Glue lines, straps, sharp edges, screws that have worked loose.",
        "Write down what you changed, and print this sheet again from the changed scene.",
    ]
    if heat is not None:
        worst = heat.hottest
        found.insert(
            5,
            f"Warmest board by this sum: {worst.name}, {worst.board_c:.0f} °C in a room of "
            f"{heat.settings.room_c:.0f} °C. Measure there after an hour, if a probe fits.",
        )
    return tuple(found)


def _alone(power: PowerReport) -> str:
    seen: dict[str, str] = {}
    for board in power.boards:
        limit = LIMIT_SHARE * board.white_ma
        seen.setdefault(
            board.kind,
            f"{board.kind} ({board.led_count} LEDs): {board.board.supply_v:g} V, expect "
            f"{board.idle_ma:.0f} mA dark and {board.white_ma:.0f} mA full white; set the limit "
            f"to {limit:.0f} mA",
        )
    return "; ".join(seen.values()) + "."


def _ohms(power: PowerReport) -> str:
    if power.wiring is None:
        return ""
    harness = power.wiring.harness
    total = {harness.nodes[0]: 0.0}
    for run in harness.runs:
        total[run.end] = total[run.start] + run.loop_ohm / 2
    return (
        f", at most {max(total.values()):.2f} ohm to the farthest by this sum (your meter and its "
        f"leads add some {METER_OHM:g} ohm)"
    )


def _zones(power: PowerReport) -> list[str]:
    found = []
    for number, zone in enumerate(power.zones):
        first = "One zone at a time, at low level first. Zone" if number == 0 else "Then zone"
        found.append(
            f"{first} '{zone.name}', {zone.boards} board{'s' if zone.boards != 1 else ''}: "
            f"expect {zone.drawn_ma:.0f} mA as drawn, {zone.white_ma:.0f} mA at full white; limit "
            f"the supply to {LIMIT_SHARE * zone.drawn_ma:.0f} mA while you try it as drawn."
        )
    if len(power.zones) > 1:
        found.append(
            f"All zones together: {power.total.drawn_ma:.0f} mA as drawn, "
            f"{power.total.white_ma:.0f} mA at full white."
        )
    return found


def _far(power: PowerReport) -> str:
    if power.wiring is None:
        return ""
    drawn = power.wiring.drawn
    worst = int(drawn.board_v.argmin())
    return (
        f"Voltage at the farthest board as drawn: {power.boards[worst].name} should read about "
        f"{drawn.board_v[worst]:.2f} V. Much less means a bad joint or a thinner wire."
    )
