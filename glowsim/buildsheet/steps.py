"""How to build and test step by step, and what to look at after the first night."""

from __future__ import annotations

from glowsim.electrics.data_line import pin_words
from glowsim.electrics.heat import HeatReport
from glowsim.electrics.power import PowerReport

LIMIT_SHARE = 1.3
"""Current limit of a bench supply over what is expected (common practice)."""
METER_OHM = 0.3
"""What test leads and an ordinary meter add."""
LOW = 0.1
"""Share of full that a first test uses (common practice): code 26 of 255."""
LEAST_LIMIT_MA = 50
"""Bench supplies cannot be set to less."""


def steps(power: PowerReport, making: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Return the order of building and testing, with the figures to expect.

    making : how each body is made
    """
    found = [
        "Check the paper first: the bar at the foot of every template page must measure 50.0 mm. "
        "If not, print again at 100 % (actual size).",
        *making,
        "Test each board alone on the bench, outside the prop: a supply with a current limit, one "
        "board, each colour in turn, at a tenth of full (26 of 255). " + _alone(power),
        "Look at the data arrow on each board and mark in and out before you solder.",
        "Cut the wires by the cut list, mark both ends of each piece, solder, and put "
        "heat-shrink sleeve over every joint.",
        "Continuity, with nothing switched on: plus of the plug to plus of every board, minus to "
        "minus" + _ohms(power) + ". Plus to minus must not beep anywhere.",
        "Polarity: switch the supply on without boards and measure at every plug: red lead on plus "
        "must read positive.",
        "Join grounds of battery and controller first, then power, then data. Fit the fuse last.",
    ]
    found += _branches(power)
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
            f"Warmest board by this estimate: {worst.name}, {worst.board_c:.0f} °C in a room of "
            f"{heat.settings.room_c:.0f} °C. Measure there after an hour, if a probe fits.",
        )
    return tuple(found)


def full_white_words(power: PowerReport, heat: HeatReport | None) -> str:
    """Return what full white would be: a limit, and why it is never to be used, if it is not."""
    total = power.total
    words = (
        f"Full white, every colour of every LED fully on, would be {total.white_ma / 1000:.2f} A"
    )
    never = []
    if power.choice is not None and total.white_ma > power.supply.max_current_ma:
        never.append(f"the battery's limit is {power.supply.max_current_ma / 1000:.2f} A")
    if power.fuse is not None and not power.fuse.for_white:
        never.append(f"the fuse is {power.fuse.fuse_a:g} A")
    if heat is not None:
        worst = max(heat.boards, key=lambda board: board.full_board_c)
        limit_c = min((limit.limit_c for limit in worst.limits), default=float("inf"))
        if worst.full_board_c > limit_c:
            never.append(f"{worst.name} would come to {worst.full_board_c:.0f} °C by this estimate")
    if never:
        return f"{words}. Never: {', and '.join(never)}. Limit the level in the controller."
    return f"{words}: a limit, not a setting of this show."


def _limit_ma(expected_ma: float) -> str:
    return f"{max(LIMIT_SHARE * expected_ma, LEAST_LIMIT_MA):.0f} mA"


def _alone(power: PowerReport) -> str:
    seen: dict[str, str] = {}
    for board in power.boards:
        most = board.idle_ma + LOW * float(board.channel_ma.max())
        if board.board.drive == "rgb":
            names = zip(("red", "green", "blue"), board.channel_ma.tolist(), strict=True)
            colours = ", ".join(f"{n} {board.idle_ma + LOW * ma:.0f} mA" for n, ma in names)
        else:
            most = board.idle_ma + LOW * float(board.channel_ma.sum())
            colours = f"lit {most:.0f} mA"
        seen.setdefault(
            board.kind,
            f"{board.kind} ({board.led_count} LEDs): {board.board.supply_v:g} V, expect "
            f"{board.idle_ma:.0f} mA dark, {colours}; limit the supply to {_limit_ma(most)}",
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
        f", at most {max(total.values()):.2f} ohm to the farthest by calculation (your meter and "
        f"its leads add some {METER_OHM:g} ohm)"
    )


def _branches(power: PowerReport) -> list[str]:
    """Return one test for each pin with its boards; for boards without data, each zone."""
    groups = [(pin_words(o.name), o.boards) for o in power.data.outputs]
    wired = {n for _, numbers in groups for n in numbers}
    for zone in power.zones:
        left = [n for n, b in enumerate(power.boards) if b.zone == zone.name and n not in wired]
        if left:
            groups.append((f"zone '{zone.name}'", tuple(left)))
    found = []
    for place, (name, numbers) in enumerate(groups):
        boards = [power.boards[n] for n in numbers]
        low = sum(b.current_ma(LOW) for b in boards)
        drawn = sum(b.drawn_ma for b in boards)
        volts = min(b.board.supply_v for b in boards)
        start = (
            f"One branch at a time, the others unplugged, from a bench supply of {volts:g} V. "
            if place == 0
            else "Then "
        )
        names = boards[0].name if len(boards) == 1 else f"{boards[0].name} to {boards[-1].name}"
        found.append(
            f"{start}{name} ({names}): all colours at a tenth of full, expect {low:.0f} mA, limit "
            f"the supply to {_limit_ma(low)}; then at your settings, expect {drawn:.0f} mA, limit "
            f"the supply to {_limit_ma(drawn)}."
        )
    if len(groups) > 1:
        found.append(
            f"All together as in the show: {power.total.average_ma:.0f} mA on average, "
            f"{power.total.peak_ma:.0f} mA at its brightest; limit the supply to "
            f"{_limit_ma(power.total.peak_ma)}."
        )
    return found


def _far(power: PowerReport) -> str:
    if power.wiring is None:
        return ""
    drawn = power.wiring.drawn
    worst = int(drawn.board_v.argmin())
    return (
        f"On the prop's own battery, {power.state_of_charge}: voltage at the farthest board at "
        f"your settings: {power.boards[worst].name} should read about {drawn.board_v[worst]:.2f} "
        "V, more on a fresh one. Much less means a bad joint or a thinner wire."
    )
