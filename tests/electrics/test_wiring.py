"""Wiring: worked examples of voltage drop, trees, cut lists, faults."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.catalogue import load_catalogue
from glowsim.electrics.data_wires import cut_list
from glowsim.electrics.power import power_report
from glowsim.electrics.wiring import Feed, drops_if_held_v, run_currents_ma, thinnest_wire
from glowsim.errors import MaterialError, SceneError
from tests.electrics.props import electrics, row, white

# 7 LEDs of 36 mA: 0.252 A a board at full white. The worked examples below are sums by hand of
# 2 r L i (boards beyond), with r = 84.2 (24 AWG) and 33.3 ohm/km (20 AWG), ASTM B258 copper.
BUS = '[wiring]\nkind = "bus"\ngauge = 24\nfeed_mm = 500\nspacing_mm = 150\n'


def held(prop):
    return drops_if_held_v(prop.harness, np.array([b.white_ma for b in prop.boards]))


def test_a_board_of_seven_draws_a_quarter_ampere():
    assert electrics(row(1, BUS)).boards[0].white_ma == pytest.approx(252)


@pytest.mark.parametrize(
    ("gauge", "first_v", "last_v"), [(24, 0.2122, 0.4986), (20, 0.0839, 0.1971)]
)
def test_parallel_bus_of_ten(gauge, first_v, last_v):
    prop = electrics(row(10, BUS.replace("gauge = 24", f"gauge = {gauge}")))
    drop = held(prop)
    assert_allclose(drop[0], first_v, rtol=2e-3)
    assert_allclose(drop[-1], last_v, rtol=2e-3)


def test_equal_bus_in_closed_form():
    # V = 2 r L i N(N+1)/2 with 8 boards of 0.25 A, 0.2 m apart, 0.0842 ohm/m: 0.30312 V.
    text = row(8, BUS.replace("500", "200").replace("150", "200"))
    prop = electrics(text)
    drop = drops_if_held_v(prop.harness, np.full(8, 250.0))
    assert_allclose(drop[-1], 0.30312, rtol=1e-4)
    assert_allclose(drop[-1], 2 * 0.0842 * 0.2 * 0.25 * 8 * 9 / 2, rtol=1e-9)


def test_daisy_chain_loses_more_in_its_joints_than_in_its_copper():
    # 20 mohm a conductor and hop (data sheet maximum of a new contact): 1.053 V in all; the joints
    # alone 2 x 0.02 x 0.252 x 55 = 0.554 V.
    prop = electrics(row(10, BUS.replace('"bus"', '"chain"')))
    assert_allclose(held(prop)[-1], 1.053, rtol=1e-3)
    joints = drops_if_held_v(prop.harness.without_copper(), np.full(10, 252.0))[-1]
    assert_allclose(joints, 0.5544, rtol=1e-9)
    assert joints > held(prop)[-1] / 2


def test_star_of_one_pair_each():
    # 1.85 m of 24 AWG for one board of 0.252 A: 0.079 V.
    prop = electrics(row(3, '[wiring]\nkind = "star"\nrun_mm = 1850\n'))
    assert_allclose(held(prop), 0.0785, rtol=1e-3)


def test_star_with_a_common_feed_is_a_tree():
    star = '[wiring]\nkind = "star"\nfeed_mm = 400\nfeed_gauge = 20\nrun_mm = 300\n'
    tree = (
        '[wiring]\nkind = "tree"\n[[wiring.segments]]\nend = "hub"\nlength_mm = 400\ngauge = 20\n'
        + "".join(
            f'[[wiring.segments]]\nstart = "hub"\nend = "s{k}"\nlength_mm = 300\n'
            f'boards = ["spike {k}"]\n'
            for k in (1, 2, 3)
        )
    )
    assert_allclose(held(electrics(row(3, star))), held(electrics(row(3, tree))), rtol=1e-12)


def test_held_drops_are_those_of_the_network_while_nothing_fades():
    prop = electrics(row(10, BUS))
    state = prop.circuit.state(Feed(5.0), white(prop))
    assert_allclose(state.share, 1.0)
    assert_allclose(state.supply_v - state.board_v, held(prop), rtol=1e-6)
    # What the supply gives goes to boards and wires: V I = sum V_k I_k + loss.
    at_boards = (state.board_v * state.board_ma / 1000).sum()
    assert_allclose(5.0 * state.supply_ma / 1000, at_boards + state.wire_loss_w, rtol=1e-6)


def test_starved_boards_fade_and_the_far_one_most():
    prop = electrics(row(10, BUS.replace("gauge = 24", "gauge = 30")))
    state = prop.circuit.state(Feed(3.7, 0.1), white(prop))
    blue = state.share[:, 2]
    assert np.all(np.diff(blue) <= 1e-9)
    assert blue[-1] < blue[0] < 1
    assert np.all(state.share[:, 0] > 1.4 * blue)  # red holds on longest
    assert_allclose(state.share, prop.boards[0].board.channel_share(state.board_v), rtol=1e-9)


def test_without_wiring_every_board_sits_at_the_supply():
    prop = electrics(row(3))
    state = prop.circuit.state(Feed(5.0, 0.5), white(prop))
    assert_allclose(state.board_v, 5.0 - 0.5 * 3 * 0.252, rtol=1e-6)


def test_white_boards_fade_in_their_one_channel():
    prop = electrics(row(2, board="white_1w_neutral"))
    state = prop.circuit.state(Feed(3.0), white(prop))
    share = (3.0 - 2.7) / (3.8 - 2.7)
    assert_allclose(state.share, share, rtol=1e-5)  # a joint has a millionth of an ohm
    assert_allclose(state.board_ma, 350 * share, rtol=1e-5)


def test_currents_of_runs_are_those_beyond_them():
    prop = electrics(row(4, BUS))
    assert_allclose(run_currents_ma(prop.harness, np.array([1.0, 2, 3, 4])), [10, 9, 7, 4])


BOTH = BUS.replace("500", "200").replace("150", "200") + "second_feed_mm = 200\n"


def test_a_bus_fed_from_both_ends_loses_a_quarter():
    """Nine equal loads i on ten equal pieces r. From one end the last loses r i N(N+1)/2 = 45 r i;
    from both, the middle one is fed by five pieces a side, which carry 4.5, 3.5, 2.5, 1.5 and
    0.5 i: 12.5 r i = r i (N+1)^2 / 8. The ratio, (N+1)/(4N), tends to a quarter."""
    board_ma, r = np.full(9, 250.0), 2 * 0.0842 * 0.2
    one, both = (
        electrics(row(9, text)).harness for text in (BOTH.replace("second_feed_mm = 200", ""), BOTH)
    )
    once, twice = (drops_if_held_v(harness, board_ma) for harness in (one, both))
    assert_allclose(once[-1], 45 * r * 0.25, rtol=1e-9)
    assert_allclose(twice.max(), 12.5 * r * 0.25, rtol=1e-9)
    assert twice.argmax() == 4
    assert_allclose(twice, twice[::-1], rtol=1e-9)
    currents = np.array([4.5, 3.5, 2.5, 1.5, 0.5, -0.5, -1.5, -2.5, -3.5, 4.5])
    assert_allclose(run_currents_ma(both, board_ma), 250 * currents, rtol=1e-9)


@pytest.mark.parametrize(
    "text", [BOTH, BOTH.replace('"bus"', '"chain"'), BOTH.replace("d_mm = 200", "d_mm = 900")]
)
@pytest.mark.parametrize("count", [1, 2, 7])
def test_held_drops_of_a_ring_are_those_of_its_network(text, count):
    prop = electrics(row(count, text))
    state = prop.circuit.state(Feed(5.0), white(prop))
    assert_allclose(state.share, 1.0)
    assert_allclose(state.supply_v - state.board_v, held(prop), rtol=1e-6)
    white_ma = np.array([b.white_ma for b in prop.boards])
    assert_allclose(state.run_ma, run_currents_ma(prop.harness, white_ma), rtol=1e-5, atol=1e-6)
    assert_allclose(state.run_ma[0] + state.run_ma[-1], white_ma.sum(), rtol=1e-6)


def test_a_second_feed_is_cut_without_data_wire_and_allows_thinner_wire():
    wires, board_ma = load_catalogue().wires, np.full(9, 250.0)
    one, both = electrics(row(9, BUS)), electrics(row(9, BUS + "second_feed_mm = 700\n"))
    cut = {prop: cut_list(prop.harness, prop.data.wires) for prop in (one, both)}
    more = [p for p in cut[both] if p.length_mm == 740]
    assert [(p.conductor, p.count) for p in more] == [("plus", 1), ("minus", 1)]
    assert len(cut[both]) == len(cut[one]) + 2
    one, both = one.harness, both.harness
    names = list(wires)
    thin, thick = (names.index(thinnest_wire(h, board_ma, wires.items())) for h in (both, one))
    assert thin < thick


def test_thinnest_wire_is_the_first_that_keeps_the_limit():
    wires = load_catalogue().wires
    prop = electrics(row(10, BUS))
    found = thinnest_wire(prop.harness, np.full(10, 252.0), wires.items())
    # 24 AWG loses 0.499 V of 0.5, but inside foam it bears half of 3.5 A and has to carry 2.52 A.
    assert found == "22 AWG"
    # Behind a fuse of 4 A it must bear 4 A: 3.5 A are too little.
    fused = thinnest_wire(prop.harness, np.full(10, 252.0), wires.items(), fuse_a=4.0)
    assert wires[fused].buried_a >= 4.0 > wires["0.34 mm2"].buried_a
    assert fused == "0.5 mm2"
    names = list(wires)
    small = np.full(10, 100.0)
    chosen = thinnest_wire(prop.harness, small, wires.items())
    for name, keeps in ((chosen, True), (names[names.index(chosen) - 1], False)):
        wired = electrics(row(10, BUS.replace("gauge = 24", f'gauge = "{name}"')))
        assert (drops_if_held_v(wired.harness, small).max() <= 0.5) == keeps


def test_no_wire_keeps_a_limit_that_joints_break():
    prop = electrics(row(10, BUS.replace('"bus"', '"chain"')))
    assert thinnest_wire(prop.harness, np.full(10, 252.0), load_catalogue().wires.items()) is None


def test_cut_list_counts_every_run_three_times():
    prop = electrics(row(4, BUS))
    cut = cut_list(prop.harness, prop.data.wires)
    pieces = {(p.conductor, p.length_mm): p.count for p in cut}
    assert pieces == {
        **{(name, 540.0): 1 for name in ("plus", "minus", "data")},
        **{(name, 190.0): 3 for name in ("plus", "minus", "data")},
    }
    total = sum(p.length_mm * p.count for p in cut)
    assert total == 3 * sum(run.length_mm + 40 for run in prop.harness.runs)


def test_runs_start_where_earlier_ones_end_whatever_the_order_in_the_file():
    text = (
        '[wiring]\nkind = "tree"\n'
        '[[wiring.segments]]\nstart = "b"\nend = "c"\nlength_mm = 30\nboards = ["spike 2"]\n'
        '[[wiring.segments]]\nstart = "a"\nend = "b"\nlength_mm = 20\n'
        '[[wiring.segments]]\nend = "a"\nlength_mm = 10\nboards = ["spike 1"]\n'
    )
    harness = electrics(row(2, text)).harness
    assert [run.end for run in harness.runs] == ["a", "b", "c"]
    assert harness.node_of_board(2) == [1, 3]


TREE = '[wiring]\nkind = "tree"\n[[wiring.segments]]\nend = "a"\nlength_mm = 9\n'
FAULTS = {
    "an unknown gauge": (
        BUS.replace("gauge = 24", "gauge = 23"),
        "wiring.gauge: there is no wire '23 AWG'; the nearest size is '22 AWG'",
    ),
    "an unknown gauge of a segment": (
        TREE + 'gauge = "0.4 mm2"\nboards = ["spike"]\n',
        "wiring.segments[0].gauge: there is no wire '0.4 mm2'; the nearest size is '0.34 mm2'",
    ),
    "an unknown gauge of a feed": (
        '[wiring]\nkind = "star"\nfeed_mm = 9\nrun_mm = 9\nfeed_gauge = 40\n',
        "wiring.feed_gauge: there is no wire '40 AWG'; the nearest size is '30 AWG'",
    ),
    "a board that is not there": (
        TREE + 'boards = ["spike 1", "spkie 2"]\n',
        "wiring.segments[0].boards[1]: there is no board 'spkie 2'; did you mean 'spike 2'?",
    ),
    "a board left out": (
        TREE + 'boards = ["spike 1"]\n',
        "wiring: no wire leads to spike 2: board; name every board in one of the `boards` lists",
    ),
    "a board wired twice": (
        TREE + 'boards = ["spike", "spike 2"]\n',
        "wiring.segments[0].boards: 'spike 2: board' is wired twice; each board has one place",
    ),
    "a board left out of a bus": (
        BUS + 'boards = ["spike 2"]\n',
        "wiring: no wire leads to spike 1: board; name every board in one of the `boards` lists",
    ),
}


@pytest.mark.parametrize(("text", "message"), FAULTS.values(), ids=FAULTS)
def test_one_fault_one_message_with_its_line(text, message):
    with pytest.raises((SceneError, MaterialError), match=r"^prop\.toml, line \d+: ") as caught:
        electrics(row(2, text))
    assert str(caught.value).split(": ", 1)[1] == message


def test_nothing_to_wire_is_said():
    text = row(1, BUS)
    start, end = text.index("  [[bodies.lights]]"), text.index("  [[bodies.patterns]]")
    with pytest.raises(SceneError, match="no body has a light: there is nothing to wire"):
        electrics(text[:start] + text[end:])


@pytest.mark.parametrize("kind", ["bus", "chain", "star"])
def test_a_strip_along_a_path_is_wired_and_counted_as_one(kind):
    lengths = "run_mm = 150" if kind == "star" else "feed_mm = 150\nspacing_mm = 150"
    text = """\
[[bodies]]
name = "bowl"
material = "pla_white"
wall_mm = 2
shape = { kind = "orb", diameter_mm = 140 }
[[bodies.lights]]
name = "brow"
board = "strip_60"
led_count = 6
path_mm = [[-40, 0, 10], [0, -40, 10], [40, 0, 10]]
[[bodies.lights]]
name = "chin"
board = "rgb_5050_18ma"
position_mm = [0, 0, -40]
"""
    prop = electrics(f'{text}[wiring]\nkind = "{kind}"\ngauge = 24\n{lengths}\n')
    assert prop.harness is not None
    assert [run.end for run in prop.harness.runs] == ["bowl: brow", "bowl: chin"]
    report = power_report(prop)
    assert (report.total.boards, report.total.leds) == (2, 7)
    assert [row.name for row in report.boards_alone] == ["bowl: brow", "bowl: chin"]
    assert sum(piece.count for piece in report.cut_list) == 6  # plus, minus and data to each
    tree = f'{text}[wiring]\nkind = "tree"\ngauge = 24\n'
    tree += '[[wiring.segments]]\nstart = "supply"\nend = "a"\nlength_mm = 90\n'
    tree += 'boards = ["bowl: brow", "bowl: chin"]\n'
    assert [len(run.boards) for run in electrics(tree).harness.runs] == [7]


def test_chips_that_are_dark_draw_less_below_a_volt():
    prop = electrics(row(1, board="round_7_12ma"))
    state = prop.circuit.state(Feed(0.5), white(prop))
    assert prop.boards[0].idle_ma > 0
    assert_allclose(state.board_ma, 0.5 * prop.boards[0].idle_ma, rtol=1e-6)
