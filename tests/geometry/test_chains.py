"""Chains of boards along a path: where they stand, how they are wired, slid, laid out and told."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.buildsheet.laid import laid_along, paper_strips
from glowsim.buildsheet.places import body_places
from glowsim.decisions.effort import Effort
from glowsim.decisions.modules import modules
from glowsim.decisions.placed_scene import with_lights
from glowsim.decisions.sliding import slide
from glowsim.electrics.data_wires import cut_list
from glowsim.electrics.loads import told_together
from glowsim.electrics.power import Electrics, power_report
from glowsim.errors import SceneError
from glowsim.findings.light_rows import strip_groups
from glowsim.geometry.body import solid_of
from glowsim.geometry.patterns import copies_of
from glowsim.live.boards import Around, outlines, toward, typed
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.strips import strip_at
from glowsim.scene import parse_scene, read_scene, write_scene
from glowsim.transport.build import build_problem
from glowsim.transport.fit import misfits
from glowsim.transport.plan import plan_of
from tests.support.placing import MATERIAL

BOWL = """\
[[bodies]]
name = "bowl"
material = "pla_white"
wall_mm = 2
shape = { kind = "orb", diameter_mm = 140 }
"""
LINE = "path_mm = [[-48, 0, 10], [0, 0, 10], [48, 0, 10]]"
CHAIN = """\
  [[bodies.lights]]
  name = "brow"
  board = "rgb_5050_18ma"
"""


def scene_of(keys: str, more: str = ""):
    return parse_scene(BOWL + CHAIN + "\n".join(f"  {k}" for k in keys.split("\n")) + "\n" + more)


def places(keys: str) -> np.ndarray:
    lights = plan_of(scene_of(keys)).scene_file.scene.bodies[0].lights
    return np.array([light.position_mm for light in lights])


@pytest.mark.parametrize(
    ("keys", "x"),
    [
        ("board_count = 4", [-48, -16, 16, 48]),
        ("pitch_mm = 40", [-48, -8, 32]),
        ("board_count = 2\npitch_mm = 30\nstart_mm = 18", [-30, 0]),
        ("board_count = 1\nstart_mm = 58", [10]),
    ],
    ids=["number", "pitch", "both", "one"],
)
def test_boards_stand_on_the_path_from_its_beginning(keys, x):
    found = places(f"{LINE}\n{keys}")
    assert_allclose(found[:, 0], x, atol=1e-5)
    assert_allclose(found[:, 1:], [[0, 10]] * len(x), atol=1e-5)


@pytest.mark.parametrize("keys", ["board_count = 5", "pitch_mm = 75.3"])
def test_a_chain_round_the_wall_is_a_ring_of_boards_that_looks_inward(keys):
    where = "path_inside = { height_mm = 0, off_mm = 8 }"  # 60 mm from the middle
    plan = plan_of(scene_of(f"{where}\n{keys}"))
    lights = plan.scene_file.scene.bodies[0].lights
    turn = 2 * np.pi * np.arange(5) / 5
    ring = 60 * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    assert_allclose([light.position_mm for light in lights], ring, atol=0.8)  # its facets
    assert_allclose([light.direction for light in lights], -ring / 60, atol=0.05)
    (body,) = build_problem(plan.scene_file).bodies
    assert misfits(body) == ()
    assert strip_groups(lights, range(5)) == [("brow", [0, 1, 2, 3, 4])]
    assert strip_groups(lights, [0, 2, 3]) == [("brow, boards 1, 3, 4", [0, 2, 3])]


def test_a_chain_faces_as_it_is_told_even_along_its_path_and_boards_keep_apart():
    plan = plan_of(scene_of(f"{LINE}\nboard_count = 3\ndirection = [1, 0, 0]"))
    assert [x.direction for x in plan.scene_file.scene.bodies[0].lights] == [(1, 0, 0)] * 3
    close = build_problem(scene_of(f"{LINE}\npitch_mm = 6\nboard_count = 2")).bodies[0]
    assert any("into the board of light" in misfit.what for misfit in misfits(close))


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        (f"{LINE}\nled_count = 3\npitch_mm = 9", "leave out the one or the others"),
        ("position_mm = [0, 0, 0]\npitch_mm = 9", "pitch_mm is for what lies along a path"),
        (LINE, r"path_mm needs led_count: .* a chain of boards needs board_count or pitch_mm"),
        (f"{LINE}\nled_count = 3", r"\.led_count: only a strip .* takes board_count or pitch_mm"),
        (f"{LINE}\nboard_count = 4\npitch_mm = 33", r"path_mm: .* 4 boards at 33 mm .* room for 3"),
        (f"{LINE}\nboard_count = 2\nstart_mm = 5", r"path_mm: .* leave out start_mm"),
        (f"{LINE}\npitch_mm = 0.01", r"path_mm: .* would be 9601; at most 2000"),
        (f"{LINE}\npitch_mm = 90\nstart_mm = 8", r"the chain begins 8 mm .* begin at 6\.0 mm"),
    ],
)
def test_a_chain_that_cannot_be_is_told_in_one_line(keys, told):
    with pytest.raises(SceneError, match=told) as message:
        plan_of(scene_of(keys))
    assert "\n" not in str(message.value)


def test_a_strip_is_no_chain():
    text = BOWL + CHAIN.replace("rgb_5050_18ma", "strip_60") + f"  {LINE}\n  pitch_mm = 9\n"
    with pytest.raises(SceneError, match=r"\.pitch_mm: 'strip_60' is a strip with a pitch of its"):
        plan_of(parse_scene(text))


@given(
    st.lists(st.tuples(*[st.floats(-40, 40)] * 3), min_size=2, max_size=6),
    st.one_of(st.none(), st.integers(1, 40)),
    st.one_of(st.none(), st.floats(0.5, 90)),
    st.floats(0, 60),
)
@settings(max_examples=30, deadline=None)
def test_any_chain_gives_boards_or_one_message(points, count, pitch, start):
    path = [list(map(float, p)) for p in points]
    keys = f"path_mm = {path}\nstart_mm = {start}"
    keys += "" if count is None else f"\nboard_count = {count}"
    keys += "" if pitch is None else f"\npitch_mm = {pitch}"
    told, lights = "", None
    try:
        lights = plan_of(scene_of(keys)).scene_file.scene.bodies[0].lights
    except SceneError as problem:
        told = str(problem)
    assert "\n" not in told
    if lights is not None:
        assert np.isfinite([light.position_mm for light in lights]).all()
        assert count is None or len(lights) == count


def test_a_chain_is_written_and_read_back(tmp_path):
    scene = scene_of(f"{LINE}\nboard_count = 2\npitch_mm = 30\nstart_mm = 4").scene
    write_scene(scene, tmp_path / "bowl.toml")
    assert read_scene(tmp_path / "bowl.toml").scene == scene


def test_a_direction_that_is_written_stays_written_as_it_decides_where_a_chain_faces():
    scene = scene_of(
        "path_inside = { height_mm = 0 }\nboard_count = 3\ndirection = [0, 0, 1]\nstart_mm = 4"
    )
    (light,) = scene.scene.bodies[0].lights
    slid = light.model_copy(update={"start_mm": 9.0})
    text, new = with_lights(scene, scene.toml.text, 0, [slid], "new.toml")
    assert "direction = [0, 0, 1]" in text
    (facing,) = {x.direction for x in plan_of(new).scene_file.scene.bodies[0].lights}
    assert facing == (0, 0, 1)


def test_left_to_itself_a_chain_keeps_room_for_its_wires():
    (body,) = build_problem(scene_of("path_inside = { height_mm = 20 }\nboard_count = 4")).bodies
    assert misfits(body) == ()


CHIN = """\
  [[bodies.lights]]
  name = "chin"
  board = "rgb_5050_18ma"
  position_mm = [0, 0, -40]
"""


@pytest.mark.parametrize("kind", ["bus", "star", "tree"])
def test_the_wire_from_board_to_board_is_as_long_as_the_pitch(kind):
    lengths = {
        "bus": "feed_mm = 500\nspacing_mm = 150",
        "star": "run_mm = 500",
        "tree": '[[wiring.segments]]\nend = "rim"\nlength_mm = 500\nboards = ["bowl: brow"]\n'
        '[[wiring.segments]]\nstart = "rim"\nend = "low"\nlength_mm = 150\nboards = ["bowl: chin"]',
    }[kind]
    wiring = f'[wiring]\nkind = "{kind}"\ngauge = 24\n{lengths}\n'
    prop = Electrics(scene_of(f"{LINE}\nboard_count = 3\npitch_mm = 40", CHIN + wiring))
    assert prop.harness is not None
    runs = {run.boards: run.length_mm for run in prop.harness.runs}
    last = {"bus": 150, "star": 500, "tree": 150}[kind]
    assert runs == {(0,): 500, (1,): 40, (2,): 40, (3,): last}
    report = power_report(prop)
    assert (report.total.boards, report.total.leds) == (4, 4)
    plus = [p for p in cut_list(prop.harness, ()) if p.conductor == "plus"]
    assert sum(p.count for p in plus if p.length_mm == 80) == 2  # both ends included
    assert told_together([1, 2, 3], prop.boards) == ["bowl: brow, boards 2, 3", "bowl: chin"]


DROP = """\
[[bodies]]
name = "blade"
material = "cloud"
shape = { kind = "rod", length_mm = 60, diameter_mm = 24 }
  [[bodies.lights]]
  name = "row"
  board = "seven"
  board_count = 2
  pitch_mm = 30                 # as the leads are cut
  path_mm = [[0, 0, 5], [0, 0, 55]]
  direction = [0, 0, 1]
  drive = { red = 0.1, green = 0.1, blue = 0.1 }
[boards.seven]
like = "round_7"
diameter_mm = 4
ring_diameter_mm = 2
thickness_mm = 0.2
led_window_mm = 0.4
"""


@pytest.mark.slow
def test_a_chain_at_one_end_of_a_blade_is_slid_and_written():
    scene = parse_scene(DROP + MATERIAL.format(mu_a=0.005, mu_s=0.4))
    answer = slide(scene, effort=Effort(patches=24, cells=2000, faces=400))
    (one,) = answer.slides
    assert answer.worth
    # Its boards face up, so that the middle of what they light lies a little above them.
    assert 4 < one.start_mm < 12
    assert f"start_mm = {one.start_mm:g}\n" in answer.text_of_scene
    assert "# as the leads are cut" in answer.text_of_scene
    (light,) = parse_scene(answer.text_of_scene).scene.bodies[0].lights
    assert light == scene.scene.bodies[0].lights[0].model_copy(update={"start_mm": one.start_mm})


def test_each_number_of_boards_is_spread_along_the_path_and_solved():
    small = DROP.replace('material = "cloud"', 'material = "cloud"\ncell_mm = 5\ndetail_mm = 12')
    answer = modules(parse_scene(small + MATERIAL.format(mu_a=0.005, mu_s=0.4)), most=2)
    assert [(c.count, c.leds, c.joints) for c in answer.counts] == [(1, 7, 6), (2, 14, 12)]
    assert [[p.position_mm[2] for p in c.lights] for c in answer.counts] == [[30], [5, 55]]
    assert answer.counts[1].current_ma == pytest.approx(2 * answer.counts[0].current_ma)
    text = answer.counts[1].text_of_scene
    (light,) = parse_scene(text).scene.bodies[0].lights
    assert (light.board_count, light.pitch_mm, light.start_mm) == (2, None, 0)
    assert answer.bounds == {}
    assert "expected" not in " ".join(answer.text)
    assert answer.as_json()["counts"][0]["predicted_off_by"] is None


def test_under_the_hand_a_chain_is_shown_board_by_board_and_slid():
    scene = scene_of(f"{LINE}\nboard_count = 2\npitch_mm = 30")
    prop, at, plan = Prop(scene.scene), BoardAt(0, 0), plan_of(scene)
    shown = outlines(prop, scene, plan.catalogue)
    assert [(b["piece"], b["round"]) for b in shown] == [(0, True), (1, True)]
    chain, (body,) = strip_at(scene, at, plan.catalogue), build_problem(scene).bodies
    around = Around(chain, body, plan.catalogue)
    (copy,) = copies_of(scene.scene.bodies[0])
    new = toward(prop, at, copy[:3, 3] + np.array([20.0, 3.0, 14.0]), around, 1)
    assert new.light(at).start_mm == pytest.approx(68 - 30, abs=0.6)
    assert typed(prop, at, "start_mm", 500, around).light(at).start_mm == pytest.approx(
        66, abs=0.11
    )


def test_its_paper_strip_has_each_board_where_it_lies_along_the_path():
    scene = scene_of(f"{LINE}\nboard_count = 3\npitch_mm = 40\nstart_mm = 9")
    plan = plan_of(scene)
    (laid,) = laid_along(body_places(plan, 0, solid_of(plan.scene_file, 0), 0.3))
    assert laid.numbers == (1, 2, 3)
    assert_allclose(laid.ways_mm, [9, 49, 89])
    assert "3 boards, 40.0 mm from middle to middle; the first 9.0 mm from" in laid.words
    whole, parts = paper_strips(laid, 190.0), paper_strips(laid, 80.0)
    assert (len(whole), len(parts)) == (1, 2)
    rounds = [item.centre[0] for item in whole[0].items if hasattr(item, "radius_mm")]
    assert_allclose(np.array(rounds) - 1, [9, 49, 89])  # from the paper's left edge
    assert "part 2 of 2" in " ".join(getattr(item, "text", "") for item in parts[1].items)
