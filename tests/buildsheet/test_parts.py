"""The wiring as a drawing, and the parts that go with it."""

from glowsim.buildsheet.drawing import Path, Words
from glowsim.buildsheet.parts import material_cautions, parts_grid
from glowsim.buildsheet.places import body_places
from glowsim.buildsheet.sheet import _heat
from glowsim.buildsheet.steps import after_first_night, steps
from glowsim.buildsheet.wiring_diagram import MOST_ROWS, wiring_drawings
from glowsim.electrics.power import Electrics, power_report
from glowsim.geometry.body import solid_of
from glowsim.scene import parse_scene
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
    # 7 LEDs of 36.6 mA each at full white, twice at the fork.
    assert "0.51 A at full white" in fork.text
    assert "0.26 A at full white" in left.text


def test_a_second_feed_is_drawn_as_one():
    (drawing,) = drawn(SPIKE + "second_feed_mm = 700\n")
    second = words_of(drawing)[-1]
    assert second.text.startswith("second feed, to spike 2: board: 700 mm, 24 AWG, ")
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


def test_steps_name_what_to_expect():
    report = report_of(SPIKE)
    text = " ".join(steps(report))
    # 7 x (0.6 + 36) mA full white, 1.3 times that as a limit.
    assert "expect 4 mA dark and 256 mA full white; set the limit to 333 mA" in text
    for words in ("Continuity", "Polarity", "One zone at a time", "spike 2: board should read"):
        assert words in text
    assert "Measure there" not in " ".join(after_first_night(None))


def test_heat_that_cannot_be_worked_out_is_said_so():
    goo = "[materials.goo]\nmu_a_per_mm = 0.01\nmu_s_reduced_per_mm = 1\nrefractive_index = 1.4\n"
    text = SPIKE.replace("upholstery_foam_white", "goo").replace(
        '"Little spike"\n', f'"Goo"\n{goo}'
    )
    scene = parse_scene(text, "spike.toml")
    report, why = _heat(scene, lambda text: None)
    assert report is None
    assert "thermal_conductivity_w_mk" in why
