"""A copy that is split off: it stands where it stood, and the file holds both."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from glowsim.electrics.power import Electrics, power_report
from glowsim.errors import SceneError
from glowsim.geometry.patterns import copies_of
from glowsim.live import edits, keeping, splitting
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.session import Session
from glowsim.scene import parse_scene

SCENE = """title = "Three"
[[bodies]]
name = "bud"   # each on its stalk
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 44, tip_radius_mm = 8 }
material = "upholstery_foam_white"
rotation_deg = [10, 0, 0]
detail_mm = 6
cell_mm = 5
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 14]
  zone = "bud {copy}"
  [[bodies.patterns]]
  kind = "around"
  count = 2
  tilt_deg = 40
  radius_mm = 60
  [[bodies.patterns]]
  kind = "along"
  count = 3
  step_mm = [80, 0, 0]
  turn_deg = [0, 20, 5]
"""


@pytest.fixture(scope="module")
def origin():
    return parse_scene(SCENE, "three.toml", Path())


@pytest.mark.parametrize("copy", range(5))
def test_it_stands_and_shines_where_it_did(origin, copy):
    split = edits.split_off(Prop(origin.scene), 0, copy)
    rest, alone = split.scene.bodies
    assert alone.name == "bud apart"
    before = copies_of(origin.scene.bodies[0])
    order = [k for k in range(5) if k != copy]
    np.testing.assert_allclose(copies_of(rest), np.array(before)[order], atol=1e-5)
    np.testing.assert_allclose(copies_of(alone), [before[copy]], atol=1e-5)
    assert alone.lights[0].zone == f"bud {copy + 1}"
    assert rest.lights[0].zones == tuple(f"bud {k + 1}" for k in order)


def test_its_boards_move_alone_and_the_file_can_be_read_again(origin):
    split = edits.split_off(Prop(origin.scene), 0, 3)
    moved = edits.moved(split, BoardAt(1, 0), (0, 0, 25))
    text, read = keeping.text_of(origin, moved.scene)
    assert "# each on its stalk" in text
    assert [body.lights[0].position_mm[2] for body in read.scene.bodies] == [14, 25]
    back, again = keeping.text_of(read, origin.scene)  # undone after it was saved
    assert len(again.scene.bodies) == 1
    assert again.scene.bodies[0].copy_count == 5
    assert "bud apart" not in back


def test_a_board_that_is_off_stays_off(origin):
    off = edits.switched(Prop(origin.scene), BoardAt(0, 0))
    split = edits.split_off(off, 0, 0)
    assert set(split.kept) == {BoardAt(0, 0), BoardAt(1, 0)}
    assert edits.switched(split, BoardAt(1, 0)).light(BoardAt(1, 0)).drive.red == 1


def test_findings_tell_of_it_with_the_others_until_it_is_moved(origin):
    split = edits.split_off(Prop(origin.scene), 0, 3)
    assert edits.told_as(split, 1) == "bud"
    assert edits.told_as(edits.moved(split, BoardAt(1, 0), (0, 0, 25)), 1) == "bud apart"


def test_light_follows_it_and_its_undoing(tmp_path):
    path = tmp_path / "three.toml"
    path.write_text(SCENE.replace("[[bodies.lights]]", "[[bodies.lights]]  # one"))
    session = Session(path, begun=False)
    session.begin()
    stop = time.monotonic() + 60
    while session.seen is None and time.monotonic() < stop:
        time.sleep(0.01)
    at = session.split_off(BoardAt(0, 0), 2)
    session.drag(at, 0, (copies_of(session.now.scene.bodies[1])[0] @ (0, 0, 20, 1))[:3])
    assert session.wait()
    assert session.seen.prop == session.now  # a draft of another number of bodies
    session.release()
    assert session.now.light(at).position_mm[2] == 20
    session.undo()
    session.undo()
    assert session.wait()
    assert session.error == ""
    assert session.rests
    session.close()


BUS = """
[power]
battery = "power_bank_10000"
[wiring]
kind = "bus"
feed_mm = 100
spacing_mm = 50
boards = ["bud 5", "bud 1: light 1", "bud 3", "bud 2", "bud 4"]
[controller]
[[controller.pins]]
name = "D5"
boards = ["bud"]
[[pulses]]
zone = "bud {copy}"
pattern = "swell"
stagger = 0.2
"""


def test_wires_pins_and_pulses_go_with_the_copies():
    wired = parse_scene(SCENE + BUS, "three.toml", Path())
    split = splitting.split_off(Prop(wired.scene), 0, 2, wired)
    _, read = keeping.text_of(wired, split.scene)
    assert read.scene.wiring.boards == ("bud 4", "bud 1: light 1", "bud apart", "bud 2", "bud 3")
    (pin,) = read.scene.controller.pins
    assert pin.boards == ("bud 1", "bud 2", "bud apart", "bud 3", "bud 4")
    before, after = (power_report(Electrics(file)) for file in (wired, read))
    assert after.total.drawn_ma == pytest.approx(before.total.drawn_ma, rel=1e-12)
    assert [(p.zone, p.phase) for p in read.scene.pulses] == [
        (f"bud {k + 1}", pytest.approx((1 - 0.2 * k) % 1)) for k in range(5)
    ]
    _, again = keeping.text_of(read, wired.scene)  # undone after it was saved
    assert again.scene == wired.scene


@pytest.mark.parametrize(("copy", "words"), [(1, "the pulse of zone 'all' goes"), (4, None)])
def test_a_pulse_that_runs_through_the_copies_is_not_broken(copy, words):
    running = SCENE.replace('zone = "bud {copy}"', "")
    running += '[[pulses]]\nzone = "all"\npattern = "run"\n'
    scene_file = parse_scene(running, "three.toml", Path())
    if words is None:
        split = splitting.split_off(Prop(scene_file.scene), 0, copy, scene_file)
        assert split.scene.pulses == scene_file.scene.pulses
    else:
        with pytest.raises(SceneError, match=words):
            splitting.split_off(Prop(scene_file.scene), 0, copy, scene_file)


def test_one_alone_cannot_be_split(origin):
    alone = edits.split_off(Prop(origin.scene), 0, 0)
    with pytest.raises(SceneError, match="but one 'bud apart'"):
        edits.split_off(alone, 1, 0)
