"""Pins: as the scene writes them, as a plan with sharing, their wires, and what cannot work."""

import pytest

from glowsim.electrics.power import power_report
from glowsim.errors import SceneError
from glowsim.scene import parse_scene
from tests.electrics.props import electrics, row

STAR = '[wiring]\nkind = "star"\nfeed_mm = 100\nrun_mm = 300\n'
BUS = '[wiring]\nkind = "bus"\nfeed_mm = 500\nspacing_mm = 150\n'


def pins(*lines, more=""):
    return f"[controller]\n{more}" + "".join(f"[[controller.pins]]\n{line}\n" for line in lines)


def zoned(count, more, zone="spike {copy}"):
    """Return a row of spikes whose zones follow one rule."""
    return row(count).replace('zone = "spikes"', f'zone = "{zone}"') + more


def pulses(**periods):
    return "".join(
        f'[[pulses]]\nzone = "{zone.replace("_", " ")}"\npattern = "swell"\nperiod_s = {period}\n'
        for zone, period in periods.items()
    )


TWO_SIDED = """
  [[bodies.lights]]
  name = "back"
  board = "plain"
  position_mm = [0, 0, 30]
  direction = [0, 0, -1]
  zone = "spikes"
  [[bodies.patterns]]
"""


def two_sided(count, more=""):
    """Return spikes with a board towards the tip and one towards the foot."""
    return row(count, more).replace("  [[bodies.patterns]]\n", TWO_SIDED.lstrip("\n"), 1)


def wires_of(text):
    return {(w.start, w.end): w.length_mm for w in electrics(text).data.wires}


def test_two_boards_facing_opposite_ways_share_a_pin():
    share = 'name = "D5"\nbranches = [["spike: board"], ["spike: back"]]'
    plan = electrics(two_sided(1, STAR + pins(share))).data
    assert [(o.name, o.rows) for o in plan.outputs] == [("D5", ((0,), (1,)))]
    assert plan.outputs[0].led_count == 7  # a frame serves one row; the other shows the same
    assert plan.memory_bytes == 7 * 3
    assert plan.written
    # Each row has a wire of its own from the pin: along the feed and its own pair.
    assert wires_of(two_sided(1, STAR + pins(share))) == {
        ("controller, pin D5", "spike: board"): 400,
        ("controller, pin D5", "spike: back"): 400,
    }


def test_a_row_passes_its_data_on():
    series = 'name = "4"\nboards = ["spike 1", "spike 3"]'
    other = 'name = "5"\nboards = ["spike 2"]'
    # From one leg of the star to another the wire goes back to the hub: 300 + 300.
    assert wires_of(row(3, STAR + pins(series, other))) == {
        ("controller, pin 4", "spike 1: board"): 400,
        ("spike 1: board", "spike 3: board"): 600,
        ("controller, pin 5", "spike 2: board"): 400,
    }
    own = 'name = "4"\nboards = ["spike"]\nlead_mm = 70\nstep_mm = 90'
    assert list(wires_of(row(3, STAR + pins(own))).values()) == [70, 90, 90]
    at_hub = pins(series, other, more='at = "hub"\n')
    assert wires_of(row(3, STAR + at_hub))[("controller, pin 4", "spike 1: board")] == 300


def test_every_data_wire_is_in_the_cut_list():
    report = power_report(electrics(row(3, BUS)))
    data = [(p.length_mm, p.count) for p in report.cut_list if p.conductor == "data"]
    assert data == [(540, 1), (190, 2)]  # 500 and 150 mm, 40 mm for both ends
    star = power_report(electrics(row(3, STAR)))
    data = [(p.length_mm, p.count) for p in star.cut_list if p.conductor == "data"]
    assert data == [(440, 3)]  # one whole wire from the controller to each board


def test_too_few_outputs_share_by_zone_first():
    text = row(4, STAR).replace('zone = "spikes"', 'zones = ["a", "b", "c", "b"]')
    text += pulses(a=2, b=3, c=4) + "[controller]\noutputs = 3\n"
    plan = electrics(text).data
    assert [o.rows for o in plan.outputs] == [((0,),), ((1,), (3,)), ((2,),)]
    assert not plan.written
    assert "pin 2 may feed spike 2: board and spike 4: board side by side" in plan.sharing[0]
    assert "they show the same at any time" in plan.sharing[0]


def test_then_the_nearest_pulses_share_and_what_that_costs_is_said():
    # Swells of 2.0 and 2.0 s with a tenth of a round between them are nearest by far.
    text = zoned(3, STAR + pulses(spike_1=2, spike_2=3))
    text += '[[pulses]]\nzone = "spike 3"\npattern = "swell"\nperiod_s = 2\nphase = 0.1\n'
    plan = electrics(text + "[controller]\noutputs = 2\n").data
    assert [o.rows for o in plan.outputs] == [((0, 2),), ((1,),)]
    assert "nearest in their pulses ('spike 1' and 'spike 3')" in plan.sharing[0]
    assert "Each keeps its own pattern" in plan.sharing[0]
    # 0.2 to 1 as a cosine; rms of 0.4 (cos x - cos(x + 0.2 pi)): 0.8 sin(0.1 pi) / sqrt 2 = 0.175
    assert "17 % of full level apart" in plan.sharing[0]


def test_rows_of_different_length_go_one_behind_the_other():
    tree = (
        '[wiring]\nkind = "tree"\n'
        '[[wiring.segments]]\nend = "a"\nlength_mm = 90\nboards = ["spike 1"]\n'
        '[[wiring.segments]]\nend = "b"\nlength_mm = 90\nboards = ["spike 2"]\n'
        '[[wiring.segments]]\nstart = "b"\nend = "c"\nlength_mm = 90\nboards = ["spike 3"]\n'
    )
    plan = electrics(row(3, tree + "[controller]\noutputs = 1\n")).data
    assert [o.rows for o in plan.outputs] == [((0, 1, 2),)]
    assert "of different length" in plan.sharing[0]


@pytest.mark.parametrize("zone", ["spikes", "spike {copy}"])
def test_a_plan_can_be_written_into_the_scene(zone):
    rule = f'[[pulses]]\nzone = "{zone}"\npattern = "ember"\nstagger = 0.1\n'
    text = zoned(4, STAR + rule, zone) + "[controller]\noutputs = 2\n"
    plan = electrics(text).data
    again = electrics(text + plan.as_toml).data
    assert again.written
    assert [o.rows for o in again.outputs] == [o.rows for o in plan.outputs]
    assert again.wires == plan.wires


def test_eight_zones_need_one_body():
    rule = '[[pulses]]\nzone = "spike {copy}"\npattern = "ember"\nstagger = 0.1\n'
    prop = electrics(zoned(8, rule))
    assert [b.zone for b in prop.boards] == [f"spike {k}" for k in range(1, 9)]
    assert [(m.name, m.number) for m in prop.course.members] == [
        (f"spike {k}", k - 1) for k in range(1, 9)
    ]
    own = row(2).replace('zone = "spikes"', 'zones = ["left", "right"]')
    assert [b.zone for b in electrics(own).boards] == ["left", "right"]


def test_a_rule_keeps_boards_of_one_copy_together():
    text = two_sided(2, '[[pulses]]\nzone = "spike {copy}"\npattern = "swell"\nstagger = 0.2\n')
    text = text.replace('zone = "spikes"', 'zone = "spike {copy}"')
    share = 'name = "{0}"\nbranches = [["spike {0}: board"], ["spike {0}: back"]]'
    plan = electrics(text + STAR + pins(share.format(1), share.format(2))).data
    assert [o.rows for o in plan.outputs] == [((0,), (1,)), ((2,), (3,))]


FAULTS = {
    "a pin written twice": (
        pins('name = "D5"\nboards = ["spike 1"]', 'name = "D5"\nboards = ["spike 2"]'),
        "controller.pins[1].name: the pin 'D5' is used twice",
    ),
    "different data side by side": (
        pins('name = "D5"\nbranches = [["spike 1"], ["spike 2"]]')
        + '[[pulses]]\nzone = "spikes"\npattern = "ember"\nstagger = 0.2\n',
        "controller.pins[0].branches[1]: 'spike 1: board' and 'spike 2: board' show different "
        "things: their drive or the stagger of their zone sets them apart",
    ),
    "different lengths side by side": (
        pins('name = "D5"\nbranches = [["spike 1", "spike 2"], ["spike 3"]]'),
        "have 14 and 7 LEDs",
    ),
    "a board on two pins": (
        pins('name = "D5"\nboards = ["spike"]', 'name = "D6"\nboards = ["spike 2"]'),
        "controller.pins[1]: 'spike 2: board' is wired to 'D5' already",
    ),
    "a board on none": (
        pins('name = "D5"\nboards = ["spike 1", "spike 2"]'),
        "controller.pins: no pin feeds spike 3: board",
    ),
    "more LEDs than a frame allows": (
        pins('name = "D5"\nboards = ["spike"]', more="frames_per_second = 1200\n"),
        # 3 x 7 x 30 us + 300 us = 0.93 ms; 1200 frames a second leave 0.83.
        "'D5' serves 21 LEDs in a row: a frame takes 0.9 ms, and 1200 frames a second leave 0.8 ms",
    ),
    "an unknown board": (
        pins('name = "D5"\nboards = ["spike 4"]'),
        "controller.pins[0].boards[0]: there is no board 'spike 4'",
    ),
    "neither boards nor branches": (pins('name = "D5"'), "give `boards` (one row"),
    "more pins than outputs": (
        pins('name = "a"\nboards = ["spike 1"]', 'name = "b"\nboards = ["spike 2"]',
             more="outputs = 1\n"),
        "controller.outputs: 2 pins are written and the controller has 1 outputs",
    ),
    "a controller that sits nowhere": (
        BUS + '[controller]\nat = "hub"\n', "controller.at: the wiring has no point 'hub'",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("more", "words"), FAULTS.values(), ids=FAULTS)
def test_what_cannot_work_is_said_in_one_message(more, words):
    with pytest.raises(SceneError) as caught:
        electrics(row(3, more))
    assert words in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_zones_must_match_the_copies():
    text = row(3).replace('zone = "spikes"', 'zones = ["a", "b"]')
    with pytest.raises(SceneError, match=r"lights\[0\].zones: 2 zones for 3 copies"):
        parse_scene(text, "prop.toml")


def test_two_lights_of_one_name_get_names_of_their_own():
    text = two_sided(2, BUS).replace('name = "back"', 'name = "board"')
    prop = electrics(text)
    assert [b.name for b in prop.boards] == [
        "spike 1: board", "spike 1: board (2)", "spike 2: board", "spike 2: board (2)",
    ]  # fmt: skip
    report = power_report(prop)
    assert (report.wiring.drawn.board_v[:-1] > report.wiring.drawn.board_v[1:]).all()
