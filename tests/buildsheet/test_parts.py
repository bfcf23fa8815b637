"""The wiring as a drawing, and the parts that go with it."""

import numpy as np
import pytest

from glowsim.buildsheet.data_diagram import data_drawings
from glowsim.buildsheet.drawing import Path, Words
from glowsim.buildsheet.making import making_steps
from glowsim.buildsheet.parts import _drawn_words, _inserts, bought, material_cautions, parts_grid
from glowsim.buildsheet.places import body_places
from glowsim.buildsheet.sheet import _heat
from glowsim.buildsheet.steps import after_first_night, full_white_words, steps
from glowsim.buildsheet.trouble import trouble
from glowsim.buildsheet.wiring_diagram import MOST_ROWS, wiring_drawings
from glowsim.electrics.heat import heat_of
from glowsim.electrics.power import Electrics, power_report
from glowsim.geometry.body import solid_of
from glowsim.scene import Picture, Where, parse_scene
from glowsim.transport.plan import plan_of
from tests.support.sheets import SPIKE

TREE = """
[wiring]
kind = "tree"
segments = [
  { end = "fork", length_mm = 300, gauge = 22 },
  { start = "fork", end = "left", length_mm = 80, gauge = 28, boards = ["spike 1"] },
  { start = "fork", end = "right", length_mm = 90, gauge = 28, boards = ["spike 2"] },
]
"""


def report_of(text):
    return power_report(Electrics(parse_scene(text, "spike.toml")))


def drawn(text, fuse="fuse 1 A"):
    report = report_of(text)
    return wiring_drawings(report.wiring, report.boards, fuse)


def words_of(drawing):
    return [item for item in drawing.items if isinstance(item, Words)]


def test_tree_is_drawn_from_its_root():
    (drawing,) = drawn(SPIKE[: SPIKE.index("[wiring]")] + TREE)
    texts = [item.text for item in words_of(drawing)]
    assert texts[:2] == ["supply", "fuse 1 A"]
    assert texts[2].startswith("fork: 300 mm, 22 AWG")
    assert texts[3].startswith("spike 1: board (all): 80 mm, 28 AWG")
    assert texts[4].startswith("spike 2: board (all): 90 mm, 28 AWG")
    fork, left, right = words_of(drawing)[2:]
    assert left.at[0] == right.at[0] > fork.at[0]
    assert fork.at[1] > left.at[1] > right.at[1]
    # 7 LEDs of 0.6 mA and 12 mA x (0.2 + 0.1 + 0.1) each, twice at the fork.
    assert "at most 0.08 A in the show" in fork.text
    assert "at most 0.04 A in the show" in left.text


def test_a_second_feed_is_drawn_as_one():
    (drawing,) = drawn(SPIKE + "second_feed_mm = 700\n")
    second = words_of(drawing)[-1]
    assert second.text.startswith("power injection, to spike 2: board: 700 mm, 24 AWG, ")
    # It leaves the supply as the first feed does, and the first feed keeps its own figures.
    first = words_of(drawing)[2]
    assert second.at[0] == first.at[0]
    assert first.text.startswith("spike 1: board (all): 400 mm, 24 AWG")


def test_every_line_starts_where_one_ended():
    (drawing,) = drawn(SPIKE[: SPIKE.index("[wiring]")] + TREE)
    lines = [i.points for i in drawing.items if isinstance(i, Path) and len(i.points) == 3]
    ends = [tuple(points[-1]) for points in lines]
    for points in lines[1:]:
        assert tuple(points[0]) in ends


def test_long_wiring_takes_several_pages():
    drawings = drawn(SPIKE.replace("count = 2", "count = 80"))
    assert len(drawings) == -(-80 // MOST_ROWS)
    texts = [item.text for drawing in drawings for item in words_of(drawing)]
    assert sum("mm, 24 AWG" in text for text in texts) == 80
    assert all(item.at[1] > 0 for drawing in drawings for item in words_of(drawing))


def test_parts_add_up():
    scene = parse_scene(SPIKE, "spike.toml")
    electrics = Electrics(scene)
    body = body_places(electrics.plan, 0, solid_of(scene, 0), 0.3)
    rows = parts_grid(electrics.plan, ((body, 2),), power_report(electrics)).rows
    by_what = {row[2]: row for row in rows}
    assert by_what["7-LED round board, 5050 addressable RGB, 12 mA class"][1] == "2"
    # 400 and 60 mm, 40 mm more each for the ends, three conductors.
    assert by_what["stranded wire 24 AWG, three colours"][1] == "1.6 m"
    foam = by_what["Upholstery foam, white (open cell polyurethane)"]
    # A cone of pi 2^2 9 / 3 = 37.7 cm3, and some for its rounded tip; 25 kg/m3.
    assert foam[1] == "2 x 39.3 cm³, each about 0.982 g"
    assert "40 x 40 x 90 mm" in foam[3]
    said = " ".join(material_cautions(electrics.plan, ((body, 2),)))
    assert "Cutting and melting foam" in said
    assert "Dust" in said
    assert "Resin" not in said


def test_a_sparse_print_weighs_its_skin_and_its_share_of_the_core():
    ball = """
[[bodies]]
name = "ball"
shape = { kind = "orb", diameter_mm = 40 }
material = "pla_white"
infill = { share = 0.2, skin_mm = 2 }
  [[bodies.inserts]]
  name = "pin"
  kind = "core"
  coat = "wood_dowel"
  shape = { kind = "rod", length_mm = 60, diameter_mm = 4 }
  position_mm = [0, 0, -30]
  [[bodies.lights]]
  board = "rgb_5050_5ma"
  position_mm = [0, 0, 10]
"""
    scene = parse_scene(ball, "ball.toml")
    electrics = Electrics(scene)
    body = body_places(electrics.plan, 0, solid_of(scene, 0), 0.3)
    # A ball of 40 mm with a skin of 2, bored by 4 mm: skin and a fifth of the core are left.
    exact = (20**3 - 0.8 * 18**3) * 4 / 3 * np.pi - np.pi * 2**2 * (40 - 0.8 * 36)
    assert body.own_volume_mm3 == pytest.approx(exact, rel=0.01)
    rows = parts_grid(electrics.plan, ((body, 1),), power_report(electrics)).rows
    assert any(f"1 x {body.own_volume_mm3 / 1000:.3g} cm³" in row[1] for row in rows)


def test_steps_name_what_to_expect():
    report = report_of(SPIKE)
    text = " ".join(steps(report))
    # 7 x 0.6 mA dark, and a tenth of 7 x 12 mA more for each colour; no limit below 50 mA.
    assert "expect 4 mA dark, red 13 mA, green 13 mA, blue 13 mA; limit the supply to 50 mA" in text
    # The one branch: 14 x (0.6 + 0.1 x 36) mA at a tenth of full, 14 x (0.6 + 0.4 x 12) as drawn.
    assert (
        "pin 1 (spike 1: board to spike 2: board): all colours at a tenth of full, expect 59 mA"
        in text
    )
    assert (
        "limit the supply to 76 mA; then at your settings, expect 76 mA, limit the supply to 98 mA"
        in text
    )
    for words in ("Continuity", "Polarity", "One branch at a time", "spike 2: board should read"):
        assert words in text
    assert "Measure there" not in " ".join(after_first_night(None))


def test_full_white_is_a_limit_that_says_never():
    weak = SPIKE + '[power]\nbattery = "alkaline_aaa"\nin_series = 3\n'
    report = report_of(weak)
    words = full_white_words(report, heat_of(parse_scene(weak, "spike.toml")))
    # 14 x 36.6 mA; AAA cells bear 300.
    assert words.startswith(
        "Full white, every colour of every LED fully on, would be 0.51 A. Never:"
    )
    assert "the battery's limit is 0.30 A" in words
    assert "°C by this estimate" in words
    assert "a limit, not a setting" in full_white_words(report_of(SPIKE), None)


def test_data_is_drawn_with_its_controller():
    data = Electrics(parse_scene(SPIKE, "spike.toml")).data
    boards = Electrics(parse_scene(SPIKE, "spike.toml")).boards
    (drawing,) = data_drawings(data, boards)
    texts = [item.text for item in words_of(drawing)]
    assert texts == [
        "controller",
        "pin 1: 14 LEDs a row",
        "spike 1: board (all): 400 mm of 24 AWG from controller, pin 1",
        "spike 2: board (all): 60 mm of 24 AWG from spike 1: board",
    ]


def test_what_to_do_when_a_board_is_dark():
    _, table, *_ = trouble(Electrics(parse_scene(SPIKE, "spike.toml")))
    assert [row[0] for row in table.rows] == ["all", "spike 2: board"]
    assert "data from spike 1: board to spike 2: board" in table.rows[1][1]
    assert "First measure plus to minus on the pads of spike 2: board" in table.rows[1][2]


def test_heat_that_cannot_be_worked_out_is_said_so():
    goo = "[materials.goo]\nmu_a_per_mm = 0.01\nmu_s_reduced_per_mm = 1\nrefractive_index = 1.4\n"
    text = SPIKE.replace("upholstery_foam_white", "goo").replace(
        '"Little spike"\n', f'"Goo"\n{goo}'
    )
    scene = parse_scene(text, "spike.toml")
    report, why = _heat(scene, lambda text: None)
    assert report is None
    assert "thermal_conductivity_w_mk" in why


TWO_STRIPS = """
[[bodies]]
name = "ball"
material = "pla_white"
wall_mm = 2
shape = { kind = "orb", diameter_mm = 120 }
patterns = [{ kind = "along", count = 2, step_mm = [200, 0, 0] }]
  [[bodies.lights]]
  board = "strip_60"
  led_count = 5
  path_mm = [[-45, 0, 0], [0, -30, 0], [45, 0, 0]]
[power]
battery = "power_bank_5000"
"""


def test_strips_are_dark_as_a_whole_in_the_table():
    wired = TWO_STRIPS + '[wiring]\nkind = "bus"\ngauge = 22\nfeed_mm = 300\nspacing_mm = 90\n'
    _, table, *_ = trouble(Electrics(parse_scene(wired)))
    assert [row[0] for row in table.rows] == ["all", "ball 2: light 1"]


def test_a_strip_along_a_path_is_bought_in_one_length():
    """Two copies of a strip of five: two lengths of 83 mm, not ten pieces."""
    boards = Electrics(parse_scene(TWO_STRIPS)).boards
    assert len(boards) == 10
    assert [(b.copy, leds) for b, leds in bought(boards)] == [("ball 1", 5), ("ball 2", 5)]


PANE = """
[[bodies]]
name = "pane"
shape = { kind = "slab", length_mm = 40, width_mm = 40, thickness_mm = 8 }
material = "acrylic_clear"
  [[bodies.masks]]
  name = "reed"
  coat = "engraved"
  where = { line_mm = [[-10, 0, 8], [10, 0, 8]], line_width_mm = 1.5 }
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 4]
"""


def test_an_engraved_line_is_told_with_its_place_and_its_body_is_polished():
    scene_file = parse_scene(PANE)
    plan = plan_of(scene_file)
    places = body_places(plan, 0, solid_of(scene_file, 0), 0.5)
    ((_, _, where),) = _inserts(plan, ((places, 1),))
    assert where == "on pane, 1.5 mm wide, by x, y, z = -10, 0, 8; 10, 0, 8 mm"
    (step,) = making_steps([(places, 1)])
    assert "polish every face" in step
    assert "engrave reed" in step


def test_a_picture_is_told_with_its_size_and_side():
    picture = Picture(file="eyes.png", height_mm=30)
    assert _drawn_words(Where(picture=picture)) == (
        ", what is black on eyes.png, 30 mm high, laid on from (0, -1, 0)"
    )
