"""A copy that is split off: it stands where it stood, and the file holds both."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from glowsim.errors import SceneError
from glowsim.geometry.patterns import copies_of
from glowsim.live import edits, keeping
from glowsim.live.edits import BoardAt, Prop
from glowsim.scene import parse_scene

SCENE = """title = "Three"
[[bodies]]
name = "bud"   # each on its stalk
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 44, tip_radius_mm = 8 }
material = "upholstery_foam_white"
rotation_deg = [10, 0, 0]
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


def test_one_alone_cannot_be_split(origin):
    alone = edits.split_off(Prop(origin.scene), 0, 0)
    with pytest.raises(SceneError, match="but one 'bud apart'"):
        edits.split_off(alone, 1, 0)
