"""How far heat lets lights be turned up, against the board's own power P = V (n I0 + n d I)."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.catalogue import load_catalogue
from glowsim.decisions import heat
from glowsim.decisions.heat import PowerLimit, heat_caution, heat_limit, limit_at_place
from glowsim.electrics.heat import heat_of
from glowsim.scene import SceneFile, parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.problem import LightSource
from tests.support.placing import MATERIAL

CATALOGUE = load_catalogue()


def light(board: str, *drive: float) -> LightSource:
    entry = CATALOGUE.board(board)
    return LightSource(
        f"{board} at {drive}",
        "all",
        board,
        np.ones(3),
        np.array(drive),
        np.ones((3, 3)),
        1.5,
        np.zeros(3),
        entry.power_w(drive),
        entry.power_w(1.0),
    )


@pytest.mark.parametrize("limit_w", [0.1, 0.4, 1.0])
def test_turned_to_the_limit_a_board_draws_the_limit(limit_w):
    drive = np.array([0.3, 0.1, 0.2])
    limit = heat_limit([light("round_7", *drive)], CATALOGUE, limit_w)
    at_limit = CATALOGUE.board("round_7").power_w(tuple(limit.heat_factor * drive))
    assert at_limit == pytest.approx(limit_w, rel=1e-9)
    assert limit.exceeded == (limit.heat_factor < 1)


def test_the_hottest_board_decides():
    weak, strong = light("round_7", 0.1, 0.1, 0.1), light("round_7", 0.2, 0.5, 0.1)
    both = heat_limit([weak, strong], CATALOGUE, 0.4)
    assert both == heat_limit([strong], CATALOGUE, 0.4)
    assert both.light == strong.name
    assert both.full_factor == pytest.approx(2.0)


def test_full_drive_can_come_before_the_heat():
    limit = heat_limit([light("rgb_5050_18ma", 0.5, 0.5, 0.5)], CATALOGUE, 10.0)
    assert not limit.binds
    assert limit.factor == pytest.approx(2.0)


def test_a_dark_board_above_the_limit_leaves_nothing():
    assert heat_limit([light("round_7", 1, 0, 0)], CATALOGUE, 1e-6).factor == 0


def test_lights_that_are_off_have_no_limit():
    assert heat_limit([light("round_7", 0, 0, 0)], CATALOGUE, 0.4) is None


FOAM = """
[[bodies]]
name = "ball"
material = "upholstery_foam_white"
shape = {{ kind = "orb", diameter_mm = 50 }}
cell_mm = 4
[[bodies.lights]]
board = "round_7"
position_mm = [0, 0, {z}]
drive = {{ red = 0.8, green = 0.5, blue = 0.5 }}
{more}
"""


def foam(z: float = 0.0, more: str = "") -> SceneFile:
    return parse_scene(FOAM.format(z=z, more=more), "ball.toml")


def cloud() -> SceneFile:
    """A ball of a material without a conductivity."""
    own = MATERIAL.format(mu_a=0.01, mu_s=1.0)
    text = FOAM.format(z=0, more=own).replace("upholstery_foam_white", "cloud")
    return parse_scene(text, "ball.toml")


def lights_in(scene_file: SceneFile) -> tuple[LightSource, ...]:
    return plan_of(scene_file).copies([np.zeros((1, 3))])[1]


def rule_of_thumb(scene_file: SceneFile) -> PowerLimit:
    return heat_limit(lights_in(scene_file), CATALOGUE, scene_file.scene.findings.buried_power_w)


def test_a_board_bears_what_heat_says_of_its_place():
    middle, edge = (
        limit_at_place(f, CATALOGUE, "ball", rule_of_thumb(f)) for f in (foam(), foam(18))
    )
    boards = heat_of(foam()).boards
    assert middle.limit_w == pytest.approx(boards[0].bearable_w)
    assert middle.board_c == pytest.approx(boards[0].board_c)
    assert edge.limit_w > middle.limit_w, "nearer to the air a board bears more"
    # Turned to its limit it draws the limit, and is as warm as its tightest limit says.
    turned = middle.turned(middle.heat_factor, 25.0)
    assert turned.power_w == pytest.approx(middle.limit_w)
    assert turned.heat_factor == pytest.approx(1.0)
    assert f"{boards[0].limits[0].limit_c:.0f} °C" in middle.source


def test_a_limit_that_the_scene_gives_holds_where_it_is_lower():
    low = foam(more="[findings]\nburied_power_w = 0.05")
    limit = limit_at_place(low, CATALOGUE, "ball", rule_of_thumb(low))
    assert limit.limit_w == 0.05
    assert "the scene gives it" in limit.source


def test_without_conductivity_the_rule_of_thumb_stays_and_says_why():
    file = cloud()
    limit = limit_at_place(file, CATALOGUE, "ball", rule_of_thumb(file))
    assert limit.limit_w == file.scene.findings.buried_power_w
    assert "add thermal_conductivity_w_mk" in limit.source


def test_a_board_that_gets_too_warm_is_told_of_as_heat_has_it(monkeypatch):
    file = foam()
    told = heat_caution(file, lights_in(file))
    (board,) = heat_of(file).boards
    assert board.allowed_share < 1
    assert "1 of 1 boards get too warm" in told.words
    assert f"may draw {board.bearable_w:.2g} W at its place" in told.words
    # Kept for the next time, and for this scene alone.
    monkeypatch.setattr(heat, "heat_of", never)
    assert heat_caution(file, lights_in(file), told.as_json()) == told
    with pytest.raises(AssertionError, match="worked out"):
        heat_caution(foam(1.0), lights_in(file), told.as_json())


def never(*args, **others):
    raise AssertionError("heat is worked out once")


def test_a_board_below_its_limit_needs_no_caution(monkeypatch):
    monkeypatch.setattr(heat, "LOOK_FROM_W", 0.0)
    dim = FOAM.format(z=18, more="").replace("round_7", "rgb_5050_18ma").replace("0.8", "0.1")
    file = parse_scene(dim.replace("0.5", "0.1"), "ball.toml")
    assert heat_of(file).hottest.allowed_share > 1
    assert heat_caution(file, lights_in(file)).words == ""


def test_a_rule_of_thumb_is_called_one_and_a_limit_of_the_scene_is_its_own():
    file = cloud()
    words = heat_caution(file, lights_in(file)).words
    assert "draw more than 0.4 W as driven" in words
    assert "a rule of thumb: a board's limit here is not known (heat needs" in words
    low = foam(18, more="[findings]\nburied_power_w = 0.05")
    assert "which the scene gives as limit" in heat_caution(low, lights_in(low)).words
