"""Every single thing that can break in the wiring of a prop, and what is seen then.

How likely one fault is beside another is common practice, no source: joints fail before wires,
wires before parts, and what feeds many boards is looked at before many separate faults.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from glowsim.electrics import trace_words as say
from glowsim.electrics.data_line import DataOutput, Row, pin_words
from glowsim.electrics.loads import LitBoard, in_one_piece
from glowsim.electrics.outputs import HIGH_SHARE
from glowsim.electrics.trace_graph import COLOURS, Boards, Graph, Symptoms

JOINT, WIRE, LED, CHIP = 3.0, 1.5, 1.5, 1.0
"""Weights of a joint, a wire between its ends, the LED nearest to a joint, and other parts."""
LOOSE, RESISTS, LATER = 0.6, 0.4, 0.5
"""Weights of a loose joint, of one that conducts badly, and of data lost while it was running,
beside a clean break of the same place."""
UNLIKELY = 0.1
KNOWN = 8.0
"""Weight of a data level that is outside the data sheet, and of a battery that leaves these boards
too little once it is nearly empty, by the scene's own figures."""
SAME_V = 0.001
"""Boards whose voltages differ by less fade together."""
Shows = tuple[tuple[Symptoms, float], ...]
"""What can be seen, each with its likelihood."""


@dataclass(frozen=True)
class Suspect:
    """One part that may be at fault.

    what : part and place;  test : what to do and what to read there
    """

    what: str
    weight: float
    test: str


@dataclass(frozen=True)
class Fault:
    """One place that can break.

    key     : what it is, for other programs;  family : 'supply', 'power', 'data', ...
    where   : the place in words;  shows : what can be seen then, each with its likelihood
    """

    key: tuple[str, ...]
    family: str
    where: str
    suspects: tuple[Suspect, ...]
    shows: Shows

    @property
    def weight(self) -> float:
        """How likely it is beside other faults."""
        return sum(suspect.weight for suspect in self.suspects)


def faults_of(graph: Graph) -> tuple[Fault, ...]:
    """Return every single fault of a prop that can be seen."""
    if not graph.boards:
        return ()
    found = [_supply(graph), *_runs(graph), *_taps(graph), *_controller(graph), *_pins(graph)]
    found += [*_links(graph), *_inside(graph), *_levels(graph), *_low(graph), *_programs(graph)]
    found += [*_channels(graph), *_alone(graph)]
    return tuple(fault for fault in found if fault.shows)


def _broken(graph: Graph, dark: Boards, loose: Boards, poor: Boards) -> Shows:
    """Return what a break, a loose joint and a joint that conducts badly show."""
    shows = (
        (Symptoms(dark=dark), 1.0),
        (Symptoms(flicker=loose), LOOSE),
        (Symptoms(wrong_colour=poor), RESISTS),
        *_faded(graph, poor, RESISTS),
    )
    return tuple((symptoms, weight) for symptoms, weight in shows if symptoms.all)


def _supply(graph: Graph) -> Fault:
    everything = graph.every_board
    return Fault(
        ("supply",),
        "power",
        "battery, fuse, switch",
        (
            Suspect("the battery: empty, or its protection has cut off", 2, say.battery(graph)),
            Suspect("the fuse", 2, say.FUSE.format(volts=graph.supply_v)),
            Suspect("the switch or the battery's plug", 2, say.SWITCH.format(volts=graph.supply_v)),
        ),
        _broken(graph, everything, everything, everything),
    )


def _runs(graph: Graph) -> Iterator[Fault]:
    harness = graph.electrics.harness
    for number, run in enumerate(harness.every_run if harness else ()):
        opened = graph.opened(run)
        behind = graph.behind(run) if harness and harness.second is None else frozenset()
        loose = graph.without_data_from(behind)
        first, last = say.ends(run.start, run.end)
        volts, ohms = say.run(graph, number), say.OHMS.format(ohm=run.loop_ohm / 2)
        yield Fault(
            ("run", run.start, run.end),
            "power",
            f"plus and minus from {run.start} to {run.end}",
            (
                Suspect(f"a joint of plus or minus at {run.end}", JOINT, last + volts),
                Suspect(f"a joint of plus or minus at {run.start}", JOINT, first + volts),
                Suspect("plus or minus between them, where it bends most", WIRE, ohms),
            ),
            (
                *(((opened, 1.0),) if opened.all else ()),
                *(_broken(graph, frozenset(), loose, behind) if behind else ()),
            ),
        )


def _taps(graph: Graph) -> Iterator[Fault]:
    """Yield a board's own joints where others hang on the same point of the supply."""
    harness = graph.electrics.harness
    for run in harness.runs if harness else ():
        if harness and harness.kind in ("chain", "star"):
            continue  # each board, or strip, is alone at the end of its run
        for numbers in in_one_piece(run.boards, graph.boards):
            number, own = numbers[0], frozenset(numbers)
            gone = graph.without_data_from(own)
            name = graph.boards[number].whole
            yield Fault(
                ("tap", name),
                "power",
                f"the joints of {name} itself",
                (Suspect(f"plus or minus of {name} where it joins the wires", JOINT,
                         say.tap(graph, number)),),
                _broken(graph, gone, gone, own),
            )  # fmt: skip


def _controller(graph: Graph) -> Iterator[Fault]:
    everything = graph.with_data
    if not everything:
        return
    yield Fault(
        ("controller",),
        "data",
        "the controller",
        (
            Suspect("the controller: no power, or its program has stopped", 3, say.CONTROLLER),
            Suspect("common ground: minus of the controller to minus of the battery", 3,
                    say.GROUND),
        ),
        _silent(everything),
    )  # fmt: skip


def _silent(boards: Boards) -> Shows:
    """Return what boards show whose data do not come."""
    return (
        (Symptoms(dark=boards), 1.0),
        (Symptoms(frozen=boards), LATER),
        (Symptoms(flicker=boards), LOOSE),
        (Symptoms(wrong_colour=boards), UNLIKELY),
    )


def _pins(graph: Graph) -> Iterator[Fault]:
    for output in graph.outputs:
        rows = " and ".join(graph.boards[row[0]].name for row in output.rows)
        yield Fault(
            ("pin", output.name),
            "data",
            f"{pin_words(output.name)}",
            (
                Suspect(f"the joint at {pin_words(output.name)}, or its resistor", JOINT,
                        say.pin(graph, output, rows)),
                Suspect(f"the program: it sends nothing to {pin_words(output.name)}", CHIP,
                        "Let the controller show a plain colour on this pin and no other."),
            ),
            _silent(frozenset(output.boards)),
        )  # fmt: skip


def _links(graph: Graph) -> Iterator[Fault]:
    """Yield the data wires to each board, and the copper from LED to LED of a strip."""
    for output, row in graph.rows:
        for place, number in enumerate(row):
            name = graph.boards[number].name
            earlier = graph.boards[row[place - 1]] if place else None
            if earlier is not None and earlier.whole == graph.boards[number].whole:
                yield _within_strip(graph, output, row, place)
                continue
            before = earlier.name if earlier else ""
            start = f"data out of {before}" if before else pin_words(output.name)
            wire_test = say.DATA_WIRE.format(start=start, name=name)
            suspects = [
                Suspect(f"the joint at data in of {name}", JOINT,
                        say.link(graph, output, row, place)),
                Suspect(f"the first LED of {name}", LED, say.FIRST_LED.format(name=name)),
                Suspect(f"the data wire from {start}", WIRE, wire_test),
                Suspect(f"{name} is in backwards: data go into its out", CHIP,
                        say.ARROW.format(name=name)),
            ]  # fmt: skip
            if before:
                suspects.insert(1, Suspect(f"the joint at data out of {before}", JOINT, wire_test))
                test = say.LAST_LED.format(name=before)
                suspects.append(Suspect(f"the last LED of {before}", LED, test))
            yield Fault(
                ("link", output.name, name),
                "data",
                f"data from {before or start} to {name}",
                tuple(suspects),
                _silent(frozenset(row[place:])),
            )


def _within_strip(graph: Graph, output: DataOutput, row: Row, place: int) -> Fault:
    """Return the way of the data from one LED of a strip to the next, if they are lights of their
    own."""
    board = graph.boards[row[place]]
    mine = [n for n in row if graph.boards[n].whole == board.whole]
    number = mine.index(row[place])
    ends, after = (f"LED {number}", f"LED {number + 1}"), frozenset(row[place:])
    return _between(output, board, board.whole, ends, True, _silent(after))


def _inside(graph: Graph) -> Iterator[Fault]:
    """Yield the chain of LEDs within each board: the first ones right, all behind them not."""
    for output, row in graph.rows:
        for place, number in enumerate(row):
            board = graph.boards[number]
            if board.led_count < 2:
                continue
            own, after = frozenset({number}), frozenset(row[place + 1 :])
            shows = (
                (Symptoms(dark=after, partly=own), 1.0),
                (Symptoms(frozen=after, partly=own), LATER),
                (Symptoms(wrong_colour=after, partly=own), LATER),
                (Symptoms(flicker=after, partly=own), LOOSE),
            )
            strip, ends = board.board.kind == "strip", say.halves(graph, number)
            yield _between(output, board, board.name, ends, strip, shows)


def _between(
    output: DataOutput, board: LitBoard, name: str, ends: tuple[str, str], strip: bool, shows: Shows
) -> Fault:
    """Return the fault between two LEDs of a board.

    ends : the last LED that is right, and the first that is not
    """
    last, first = ends
    suspects = [
        Suspect(f"{first}: dead, or its data in", LED, say.INSIDE.format(name=name, which=first)),
        Suspect(f"{last}: passes nothing on", LED, say.INSIDE.format(name=name, which=last)),
    ]
    if strip:
        torn = "plus, minus or data of the strip between them, where it is bent or cut"
        suspects.append(Suspect(torn, JOINT, say.STRIP.format(name=board.whole)))
    where = f"inside {name}, from {last} to {first}"
    return Fault(("inside", output.name, board.name), "data", where, tuple(suspects), shows)


def _levels(graph: Graph) -> Iterator[Fault]:
    """Yield data levels that are too low for the first boards of a pin."""
    controller = graph.electrics.plan.scene_file.scene.controller
    for output in graph.outputs:
        first = output.rows[0][0]
        volts = float(graph.sound.board_v[first])
        short = controller.logic_v < HIGH_SHARE * volts and not controller.level_shifter
        boards = frozenset(output.boards)
        yield Fault(
            ("level", output.name),
            "level",
            f"the level of the data at {pin_words(output.name)}",
            (Suspect(
                f"data of {controller.logic_v:g} V are too low for LEDs at {volts:.2f} V"
                if short else "a disturbance on a long first data wire",
                KNOWN if short else 0.5,
                say.level(controller.logic_v, volts, graph.boards[first].name),
            ),),
            ((Symptoms(flicker=boards), 1.0), (Symptoms(wrong_colour=boards), LATER),
             (Symptoms(dark=boards), UNLIKELY)),
        )  # fmt: skip


def _low(graph: Graph) -> Iterator[Fault]:
    """Yield a supply that has sagged: the boards with the least voltage suffer first."""
    volts, fades = graph.sound.board_v, graph.fades_when_empty()
    order = sorted(range(len(volts)), key=lambda n: volts[n])
    for count in range(1, len(order) + 1):
        if count < len(order) and volts[order[count]] - volts[order[count - 1]] < SAME_V:
            continue
        worst = frozenset(order[:count])
        yield Fault(
            ("low", str(count)),
            "sag",
            "the supply as a whole: too low for the farthest boards",
            (Suspect("the battery is nearly empty, or the wires are thinner than planned",
                     KNOWN if worst <= fades else 3.0 if count == len(order) else 1.5,
                     say.low(graph, order[0])),),
            ((Symptoms(wrong_colour=worst), 1.5), *_faded(graph, worst, 1.5),
             (Symptoms(flicker=worst), LATER),
             (Symptoms(dark=graph.without_data_from(worst)), UNLIKELY)),
        )  # fmt: skip


def _programs(graph: Graph) -> Iterator[Fault]:
    for zone in dict.fromkeys(board.zone for board in graph.boards):
        mine = frozenset(n for n, board in enumerate(graph.boards) if board.zone == zone)
        wired = mine <= graph.with_data
        what = f"{'the program: the level of' if wired else 'the dimmer of'} the zone '{zone}'"
        test = say.ZONE.format(what="the controller" if wired else "the dimmer", name=zone)
        yield Fault(
            ("zone", zone),
            "program",
            f"the zone '{zone}'",
            (Suspect(what, 0.7 if wired else 3.0, test),),
            (
                (Symptoms(dark=mine), 1.0),
                (Symptoms(frozen=mine), 1.0),
                *((Symptoms.without([k], mine), 1.0) for k in range(3)),
            ),
        )


def _channels(graph: Graph) -> Iterator[Fault]:
    """Yield the channels of a dimmer, one for each colour of a zone whose boards take no data."""
    bare = graph.every_board - graph.with_data
    for zone in dict.fromkeys(graph.boards[n].zone for n in sorted(bare)):
        mine = frozenset(n for n in bare if graph.boards[n].zone == zone)
        if any(graph.boards[n].board.drive != "rgb" for n in mine):
            continue
        for k, colour in enumerate(COLOURS):
            yield Fault(
                ("channel", zone, colour),
                "power",
                f"the channel of {colour} of the zone '{zone}'",
                (Suspect(f"a joint or wire of {colour}, or the dimmer's output", JOINT,
                         say.CHANNEL.format(colour=colour)),),
                ((Symptoms.without([k], mine), 1.0),),
            )  # fmt: skip


def _faded(graph: Graph, boards: Boards, weight: float) -> Shows:
    """Return what a supply that is too low takes first: some colours, together or one by one."""
    risk = graph.at_risk(boards)
    sets = {risk, *((k,) for k in risk)} - {()}
    return tuple((Symptoms.without(some, boards), weight) for some in sorted(sets))


def _alone(graph: Graph) -> Iterator[Fault]:
    for number, board in enumerate(graph.boards):
        own: Boards = frozenset({number})
        yield Fault(
            ("board", board.name),
            "board",
            f"{board.name} itself",
            (Suspect(f"{board.name}: a dead colour, another kind of board, or another order of "
                     "colours", 2.0, say.alone(board)),),
            ((Symptoms(wrong_colour=own), 2.0), (Symptoms(flicker=own), UNLIKELY),
             *((Symptoms.without([k], own), 2.0) for k in range(3)),
             *(() if number in graph.with_data else ((Symptoms(partly=own), 2.0),)),
             (Symptoms(dark=own), UNLIKELY)),
        )  # fmt: skip
