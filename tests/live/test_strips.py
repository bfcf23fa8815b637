"""Strips along paths under the hand: shown where they lie, slid along their paths."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.decisions.effort import BRIEF
from glowsim.errors import SceneError
from glowsim.live import edits, keeping, placing
from glowsim.live.boards import Around, added_clear, outlines, stepped, toward, turned_clear, typed
from glowsim.live.edits import BoardAt, Prop
from glowsim.live.strips import strip_at
from glowsim.scene import parse_scene
from glowsim.transport.build import build_problem
from glowsim.transport.plan import plan_of

SCENE = parse_scene(
    """\
[[bodies]]
name = "bowl"
material = "pla_white"
wall_mm = 2
shape = { kind = "orb", diameter_mm = 140 }
position_mm = [0, 0, 100]
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, -40]
[[bodies.lights]]
name = "brow"  # bent along the inside
board = "strip_60"
led_count = 3
path_mm = [[-48, 0, 0], [0, 0, 0], [48, 0, 0]]
direction = [0, -1, 0]
"""
)
PROP, BROW = Prop(SCENE.scene), BoardAt(0, 1)
PLAN = plan_of(SCENE)
AROUND = Around(
    strip_at(SCENE, BROW, PLAN.catalogue), build_problem(SCENE).bodies[0], PLAN.catalogue
)
PITCH = 16.667


def test_a_strip_is_drawn_piece_by_piece_where_it_lies():
    shown = outlines(PROP, SCENE, PLAN.catalogue)
    assert [(b["light"], b["piece"]) for b in shown] == [(0, 0), (1, 0), (1, 1), (1, 2)]
    places = np.array([np.reshape(b["frame"], (4, 4))[:3, 3] for b in shown])
    stand = [light.position_mm for light in PLAN.scene_file.scene.bodies[0].lights]
    assert_allclose(places, np.add(stand, (0, 0, 100)), atol=1e-4)


@pytest.mark.parametrize("piece", [0, 2])
def test_the_piece_in_hand_follows_the_pointer_along_the_path(piece):
    new = toward(PROP, BROW, np.array([1.0, 20.0, -7.0]), AROUND, piece)
    start = new.light(BROW).start_mm
    assert start == pytest.approx(49 - (piece + 0.5) * PITCH, abs=0.6)
    assert new.light(BROW) == PROP.light(BROW).model_copy(update={"start_mm": start})
    text, read = keeping.text_of(SCENE, new.scene)
    assert read.scene == new.scene
    assert "# bent along the inside" in text
    far = toward(PROP, BROW, np.array([900.0, 0.0, 0.0]), AROUND, piece)
    assert far.light(BROW).start_mm == pytest.approx(96 - 3 * PITCH, abs=0.11)


def test_a_step_counts_by_what_of_it_lies_along_the_path():
    start = stepped(PROP, BROW, (5.0, 30.0, 0.0), AROUND).light(BROW).start_mm
    assert start == pytest.approx(5.0, abs=0.11)
    assert stepped(PROP, BROW, (-5.0, 0.0, 0.0), AROUND) == PROP
    assert typed(PROP, BROW, "start_mm", 12.34, AROUND).light(BROW).start_mm == 12.3


def test_what_a_strip_along_a_path_cannot_do_is_said():
    problem, catalogue = AROUND.problem, AROUND.catalogue
    light = PROP.light(BROW)
    with pytest.raises(SceneError, match="not doubled"):
        added_clear(PROP, 0, light, [np.zeros(3)], problem, catalogue)
    turned = turned_clear(PROP, BROW, (0, 1, 0), problem, catalogue)
    assert turned.light(BROW).direction == (0, 1, 0)
    assert keeping.text_of(SCENE, turned.scene)[1].scene == turned.scene


def test_a_short_search_slides_strips_and_leaves_the_rest_of_them(monkeypatch):
    text = keeping.text_of(SCENE, edits.slid(PROP, BROW, 12.5).scene)[0]
    text = text.replace(
        "led_count = 3", "led_count = 3\ndrive = { red = 0.1, green = 0, blue = 0 }"
    )
    asked = []

    def slide(file, body, effort, report):
        asked.append((body, effort.faces))
        return SimpleNamespace(text_of_scene=text, numbers=(0,))

    monkeypatch.setattr(placing, "slide", slide)
    own = SCENE.scene.bodies[0]
    search = SimpleNamespace(file=lambda: SCENE, name=own.name, body=own, report=str)
    board, brow = placing.briefly(search, 1)[0]
    assert asked == [("bowl", BRIEF.faces)]
    assert brow == own.lights[1].model_copy(update={"start_mm": 12.5})
    assert board == own.lights[0]
