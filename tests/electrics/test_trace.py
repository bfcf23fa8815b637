"""Tracing a fault: every single one is put into the network, and must be named first or second."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glowsim.electrics.loads import told_together
from glowsim.electrics.network import Network, solve_network
from glowsim.electrics.pack import HALF_USED
from glowsim.electrics.trace import (
    counted_leds,
    first_test,
    named_symptoms,
    trace,
    trace_json,
)
from glowsim.electrics.trace_faults import faults_of
from glowsim.electrics.trace_graph import Graph, Symptoms
from glowsim.errors import SceneError
from tests.electrics.props import electrics, row

POWER = '[power]\nbattery = "nimh_aa"\nin_series = 4\n'
PINS = """
[[controller.pins]]
name = "D5"
boards = ["spike 1", "spike 2"]
[[controller.pins]]
name = "D6"
branches = [["spike 3"], ["spike 4"]]
[[controller.pins]]
name = "D7"
boards = ["spike 6", "spike 5"]
"""
TREE = """
[wiring]
kind = "tree"
gauge = 22
[[wiring.segments]]
end = "hub"
length_mm = 300
[[wiring.segments]]
start = "hub"
end = "left"
length_mm = 100
boards = ["spike 1", "spike 2"]
[[wiring.segments]]
start = "hub"
end = "right"
length_mm = 100
boards = ["spike 3"]
[[wiring.segments]]
start = "right"
end = "far"
length_mm = 100
boards = ["spike 4", "spike 5"]
[[wiring.segments]]
start = "hub"
end = "top"
length_mm = 100
boards = ["spike 6"]
"""
BUS = '[wiring]\nkind = "bus"\ngauge = 22\nfeed_mm = 500\nspacing_mm = 150\n'
RING = BUS + "second_feed_mm = 700\n"
CHAIN = BUS.replace('"bus"', '"chain"')
STAR = '[wiring]\nkind = "star"\ngauge = 22\nfeed_mm = 100\nrun_mm = 300\n'
PROPS = {
    "chain": CHAIN,
    "bus": BUS,
    "bus fed from both ends": RING,
    "star": STAR,
    "tree": TREE,
    "tree with pins": TREE + PINS,
    "bus with pins": BUS + PINS,
    "star with pins": STAR + PINS,
}


def prop(wiring):
    return electrics(row(6, POWER + wiring, drive=0.3))


def simulate(e, *, cut=None, tap=None, link=None, pin=None, dead_supply=False, silent=False):
    """Return which boards are dark, from an own account of the network and of the data.

    cut : number of a run that is opened;  tap : a board off its wires;  link : (output, row,
    place) where the data stop;  pin : an output that sends nothing
    """
    harness, count = e.harness, len(e.boards)
    names = {name: k for k, name in enumerate(harness.nodes, start=1)}
    ends = [(names[r.start], names[r.end], r.loop_ohm) for r in harness.every_run]
    reached = set() if dead_supply else {1}
    for _ in ends:
        whole = [(a, b) for k, (a, b, _) in enumerate(ends) if k != cut]
        reached |= {n for edge in whole if reached & set(edge) for n in edge}
    ohm = np.array([1e9 if k == cut else loop for k, (_, _, loop) in enumerate(ends)])
    feed = e.supply.feed(HALF_USED)
    network = Network(
        1 + len(names),
        np.array([0, *(a for a, _, _ in ends)]),
        np.array([1, *(b for _, b, _ in ends)]),
        np.array([feed.ohm, *ohm]),
    )
    node = np.array(harness.node_of_board(count)) + 1
    full = np.array([np.sum(b.channel_ma * b.drive) / 1000 for b in e.boards])
    if tap is not None:
        full[tap] = 0.0
    apart = np.array([n not in reached for n in node])
    full[apart] = 0.0

    def load(volts):
        # A sink that holds its current above 3 V and lets go in a straight line below.
        share = np.clip(volts[node] / 3.0, 0, 1)
        slope = np.where(volts[node] < 3.0, full / 3.0, 0.0)
        size = network.node_count
        return np.bincount(node, full * share, size), np.bincount(node, slope, size)

    volts = solve_network(network, feed.rest_v, load)[node]
    powered = (volts > 3.5) & ~apart
    if tap is not None:
        powered[tap] = False
    lit = set()
    for o, output in enumerate(e.data.outputs):
        for r, boards in enumerate(output.rows):
            for place, board in enumerate(boards):
                if silent or pin == o or link == (o, r, place) or not powered[board]:
                    break
                lit.add(board)
    return Symptoms(dark=frozenset(range(count)) - lit)


def injections(e):
    """Return every single fault: its key, and what is dark with it."""
    runs = e.harness.every_run
    yield ("supply",), simulate(e, dead_supply=True)
    yield ("controller",), simulate(e, silent=True)
    for k, run in enumerate(runs):
        yield ("run", run.start, run.end), simulate(e, cut=k)
    for n, board in enumerate(e.boards):
        yield ("tap", board.name), simulate(e, tap=n)
    for o, output in enumerate(e.data.outputs):
        yield ("pin", output.name), simulate(e, pin=o)
        for r, boards in enumerate(output.rows):
            for place, n in enumerate(boards):
                dark = simulate(e, link=(o, r, place))
                yield ("link", output.name, e.boards[n].name), dark


@pytest.mark.parametrize("wiring", PROPS.values(), ids=PROPS)
def test_every_single_fault_is_ranked_first_or_second(wiring):
    e = prop(wiring)
    graph = Graph(e)
    at_end = {b: run for run in e.harness.runs for b in run.boards}
    tried = 0
    for key, seen in injections(e):
        if not seen.dark:
            continue  # a ring goes on with one of its pairs broken
        found = trace(graph, seen)
        assert found.faults == 1, key
        if key[0] == "tap" and key not in {f.key for f in faults_of(graph)}:
            # In a chain or star a board's own joint is the end of its run.
            run = at_end[next(n for n, b in enumerate(e.boards) if b.name == key[1])]
            key = ("run", run.start, run.end)
        ranks = [k for k, (cause,) in enumerate(found.causes, start=1) if key in cause.keys]
        assert ranks, key
        assert ranks[0] <= 2, (key, ranks)
        tried += 1
    assert tried > 12


def test_a_cause_is_no_wider_than_it_must_be():
    # A chain of six on one pin: dark from spike 4 on. Power: one run. Data: one link.
    e = prop(CHAIN)
    found = trace(Graph(e), Symptoms(dark=frozenset({3, 4, 5})))
    keys = {cause.family: cause.keys for (cause,) in found.causes}
    assert keys["power"] == (("run", "spike 3: board", "spike 4: board"),)
    assert keys["data"] == (("link", "pin 1", "spike 4: board"),)
    words = first_test(Graph(e), found)
    assert "on the pads of spike 4: board" in words
    assert f"{e.state_drawn().board_v[3]:.2f} V" in words


def test_a_shared_pin_is_told_from_its_boards():
    graph = Graph(prop(STAR + PINS))
    both = trace(graph, Symptoms(dark=frozenset({2, 3})))
    assert both.causes[0][0].keys == (("pin", "D6"),)
    one = trace(graph, Symptoms(dark=frozenset({3})))
    assert ("pin", "D6") not in one.causes[0][0].keys + one.causes[1][0].keys


def test_two_faults_where_one_does_not_do():
    # Star with pins: spike 1 to 2 on one pin, spike 3 and 4 side by side.
    graph = Graph(prop(STAR + PINS))
    found = trace(graph, Symptoms(dark=frozenset({1, 3})))
    assert found.faults == 2
    assert found.causes
    for one, other in found.causes:
        assert one.keys != other.keys
    # Each board has lost its power or its data: four likely pairs, one behind the other.
    pairs = [{key for cause in row for key in cause.keys} for row in found.causes[:4]]
    for one in (("link", "D5", "spike 2: board"), ("run", "hub", "spike 2: board")):
        for other in (("link", "D6", "spike 4: board"), ("run", "hub", "spike 4: board")):
            assert any({one, other} <= pair for pair in pairs)


@pytest.mark.parametrize("wiring", ["chain", "tree with pins", "star with pins"])
def test_a_chain_of_leds_that_breaks_within_a_board(wiring):
    """Injected: the data stop between two LEDs of a board; those behind it keep what they had,
    and every board behind it in its row gets nothing."""
    e = prop(PROPS[wiring])
    graph = Graph(e)
    for output in e.data.outputs:
        for row_ in output.rows:
            for place, n in enumerate(row_):
                after = frozenset(row_[place + 1 :])
                for rest in ("dark", "frozen", "wrong_colour"):
                    seen = replace(Symptoms(partly=frozenset({n})), **{rest: after})
                    found = trace(graph, seen)
                    key = ("inside", output.name, e.boards[n].name)
                    assert key in found.causes[0][0].keys, (key, rest)


def test_the_leds_that_were_counted_are_named():
    e = prop(CHAIN)
    names, lit, _ = counted_leds(e, ["spike 2=4", "spike 3: board"])
    assert (names, lit) == (["spike 2: board", "spike 3: board"], {1: 4})
    found = trace(Graph(e, {4: 4}), Symptoms(partly=frozenset({4}), dark=frozenset({5})))
    assert found.causes[0][0].where == "inside spike 5: board, from LED 4 to LED 5"
    for wrong in ("spike 2=0", "spike 2=7", "spike 2=four"):
        with pytest.raises(
            SceneError, match="has 7 LEDs; say how many of the first are right, 1 to"
        ):
            counted_leds(e, [wrong])
    single = electrics(row(2, POWER + CHAIN, board="rgb_5050_18ma"))
    with pytest.raises(SceneError, match="spike 2: board has one LED; it is right or dark"):
        counted_leds(single, ["spike 2=1"])


STRIP = (
    BUS
    + """
[[bodies]]
name = "bowl"
material = "pla_white"
wall_mm = 2
shape = { kind = "orb", diameter_mm = 120 }
  [[bodies.lights]]
  name = "brow"
  board = "strip_60"
  led_count = 6
  path_mm = [[-40, 0, 10], [0, -40, 10], [40, 0, 10]]
"""
)


def test_leds_of_a_strip_are_one_thing_with_places_in_it():
    e = prop(STRIP)
    graph = Graph(e)
    leds = [n for n, b in enumerate(e.boards) if b.whole == "bowl: brow"]
    assert told_together(leds, e.boards) == ["bowl: brow"]
    assert told_together({*leds[1:4], leds[5], 0}, e.boards) == [
        "spike 1: board",
        "bowl: brow, LEDs 2 to 4, 6",
    ]
    _, lit, behind = counted_leds(e, ["bowl: brow=2"])
    assert lit == {}
    seen = named_symptoms(e, [behind, [], [], [], []])
    assert seen.dark == frozenset(leds[2:])
    found = trace(graph, seen)
    # No joint or data wire between them to look at: the strip's own copper, or one of two LEDs.
    assert found.causes[0][0].where == "inside bowl: brow, from LED 2 to LED 3"
    assert trace_json(graph, found)["seen"] == {"dark": ["bowl: brow, LEDs 3 to 6"]}


def test_one_colour_that_is_gone():
    e = prop(CHAIN)
    graph = Graph(e)
    # One board alone: that board. Red on a whole zone: the last to fade, so it is the program.
    own = frozenset({2})
    ranked = [c for (c,) in trace(graph, Symptoms(no_red=own)).causes]
    assert ranked[0].keys == (("board", "spike 3: board"),)
    everything = frozenset(range(6))
    assert trace(graph, Symptoms(no_red=everything)).causes[0][0].keys == (("zone", "spikes"),)
    # Injected: a supply that takes the colours that need most from the farthest boards.
    worst = frozenset({4, 5})
    for seen in (Symptoms(no_blue=worst), Symptoms(no_green=worst, no_blue=worst)):
        found = trace(graph, seen)
        ranks = [k for k, (c,) in enumerate(found.causes, 1) if c.family in ("sag", "power")]
        assert ranks[0] == 1
        assert ("low", "2") in {key for row_ in found.causes[:2] for key in row_[0].keys}


def test_a_dimmers_channel():
    """Injected: one channel of a dimmer is open; boards without data lose just that colour."""
    e = electrics(row(3, BUS + '[power]\nbattery = "power_bank_10000"\n', board="star_rgb_3w"))
    found = trace(Graph(e), Symptoms(no_red=frozenset({0, 1, 2})))
    ranked = [key for row_ in found.causes[:2] for key in row_[0].keys]
    assert ("channel", "spikes", "red") in ranked


def test_other_symptoms():
    graph = Graph(prop(CHAIN))
    frozen = trace(graph, Symptoms(frozen=frozenset({4, 5})))
    assert frozen.causes[0][0].keys == (("link", "pin 1", "spike 5: board"),)
    one = trace(graph, Symptoms(wrong_colour=frozenset({2})))
    assert one.causes[0][0].keys == (("board", "spike 3: board"),)
    far = trace(graph, Symptoms(wrong_colour=frozenset({4, 5})))
    assert {row[0].family for row in far.causes[:2]} == {"sag", "power"}
    everything = frozenset(range(6))
    steady = POWER.replace("in_series = 4", "in_series = 4\nconverter = { output_v = 5.0 }")
    shaky = trace(Graph(electrics(row(6, steady + CHAIN))), Symptoms(flicker=everything))
    families = [row[0].family for row in shaky.causes]
    # 3.3 V of data on 5 V are below the data sheet's 0.7 x 5 = 3.5 V.
    assert families.index("level") < 3
    assert "wants 0.7 of that" in shaky.causes[families.index("level")][0].suspects[0].test


def test_low_supply_takes_the_far_boards_first():
    graph = Graph(prop(CHAIN))
    for count in range(1, 7):
        worst = frozenset(range(6 - count, 6))
        found = trace(graph, Symptoms(wrong_colour=worst))
        assert ("low", str(count)) in {k for row in found.causes for k in row[0].keys}


def test_a_colour_that_is_off_cannot_fade():
    """Red needs the least voltage: boards that show it alone lose nothing where blue would."""
    text = row(14, POWER.replace("in_series = 4", "in_series = 3") + BUS)
    white, red = (
        Graph(electrics(text.replace("green = 1.0, blue = 1.0", others)))
        for others in ("green = 1.0, blue = 1.0", "green = 0.0, blue = 0.0")
    )
    assert 13 in white.fades_when_empty()
    assert white.at_risk([0]) == (1, 2)
    assert not red.fades_when_empty()
    assert red.at_risk([0]) == ()


def test_readings_are_those_of_the_wiring():
    e = prop(STAR)
    graph = Graph(e)
    state = e.state_drawn()
    (power,) = [
        row[0]
        for row in trace(graph, Symptoms(dark=frozenset({2}))).causes
        if row[0].family == "power"
    ]
    text = " ".join(s.test for s in power.suspects)
    hub = state.node_v[e.harness.nodes.index("hub")]
    assert f"{hub:.2f} V at hub, {state.board_v[2]:.2f} V at spike 3: board" in text
    assert f"this pair: {state.board_ma[2]:.0f} mA" in text
    # 300 mm of 22 AWG: 52.94 ohm/km x 0.3 m.
    assert f"at most {0.05294 * 0.3:.2f} ohm" in text


@settings(max_examples=30, deadline=None)
@given(st.sets(st.integers(0, 5), min_size=1), st.sampled_from(["dark", "flicker", "frozen"]))
def test_something_is_always_said(boards, kind):
    graph = _GRAPH.setdefault("chain", Graph(prop(CHAIN)))
    found = trace(graph, replace(Symptoms(), **{kind: frozenset(boards)}))
    assert found.causes
    assert abs(sum(found.shares) - 1) < 1e-9
    assert list(found.shares) == sorted(found.shares, reverse=True)


_GRAPH: dict[str, Graph] = {}


def test_names():
    e = prop(STAR)
    seen = named_symptoms(e, (("spike 2: board", "spike 4"), (), ("spike 5",), ()))
    assert seen == Symptoms(dark=frozenset({1, 3}), flicker=frozenset({4}))
    assert named_symptoms(e, (("spikes",), (), (), ())).dark == frozenset(range(6))
    with pytest.raises(SceneError, match="there is no board 'spike 7: board'; did you mean"):
        named_symptoms(e, (("spike 7: board",), (), (), ()))
    with pytest.raises(SceneError, match="'spike 2: board' is named twice"):
        named_symptoms(e, (("spike 2",), ("spike 2",), (), ()))


def test_symptoms_are_explained_only_if_each_of_them_is():
    seen = Symptoms(dark=frozenset({1}), frozen=frozenset({2}))
    assert seen.within(seen)
    assert seen.within(Symptoms(dark=frozenset({1, 2})))  # what is dark shows nothing else
    assert not seen.within(Symptoms(dark=frozenset({1})))
    assert not seen.within(Symptoms(frozen=frozenset({1, 2})))
    assert not Symptoms().within(seen)


def test_a_colour_is_wrong_beside_what_it_was_before():
    """Boards that an empty battery has dimmed to half already are no sign of a fault."""
    graph = Graph(electrics(row(2, POWER + BUS)))
    sound = graph.sound
    dim = vars(graph)["sound"] = replace(sound, share=np.full_like(sound.share, 0.5))
    assert not graph.seen(dim).all
    assert not graph.seen(replace(dim, share=0.8 * dim.share)).all
    assert graph.seen(replace(dim, share=0.6 * dim.share)).wrong_colour == {0, 1}
