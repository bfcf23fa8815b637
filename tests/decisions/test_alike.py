"""Which bodies boards are placed in: by the name of a body, of a copy, or by none."""

from __future__ import annotations

import pytest

from glowsim.decisions.alike import bodies_alike, body_number, named_all, relit
from glowsim.errors import SceneError
from glowsim.scene import parse_scene
from glowsim.transport.plan import Plan, plan_of

BODY = """
[[bodies]]
name = "{name}"
material = "upholstery_foam_white"
shape = {{ kind = "orb", diameter_mm = {size} }}
position_mm = [{x}, 0, 0]
[[bodies.lights]]
name = "of {name}"
board = "rgb_5050_18ma"
position_mm = [0, 0, 2]
zone = "{name}"
drive = {{ red = {red} }}
"""
PATTERN = """[[bodies.patterns]]
kind = "along"
count = 3
step_mm = [0, 100, 0]
"""
UNLIT = """
[[bodies]]
name = "pole"
material = "wood_dowel"
shape = { kind = "rod", length_mm = 30, diameter_mm = 10 }
"""


def body(name: str, x: int = 0, size: int = 30, red: float = 0.5) -> str:
    return BODY.format(name=name, x=x, size=size, red=red)


def planned(*bodies: str) -> Plan:
    return plan_of(parse_scene("".join(bodies), "prop.toml"))


def test_a_body_is_meant_by_its_name_by_any_copy_and_by_none():
    plan = planned(UNLIT, body("spike") + PATTERN)
    for name in (None, "spike", "spike 1", "spike 3"):
        assert bodies_alike(plan, name) == (1,)
    assert named_all(plan.scene_file, (1,)) == "each of 3 'spike'"


def test_bodies_that_are_alike_go_together_those_that_are_not_do_not():
    twins = planned(body("left"), UNLIT, body("right", x=50))
    assert bodies_alike(twins, None) == (0, 2)
    assert bodies_alike(twins, "right") == (2, 0)
    assert named_all(twins.scene_file, (2, 0)) == "each of 2 'right' and 'left'"
    for other in (body("b", x=50, size=40), body("b", x=50, red=0.4)):
        plan = planned(body("a"), other)
        assert bodies_alike(plan, "b") == (1,)
        with pytest.raises(SceneError, match='say which: --body "a" or --body "b"'):
            bodies_alike(plan, None)


def test_a_name_that_is_not_there_gets_the_nearest_and_a_dark_body_is_refused():
    plan = planned(body("spike") + PATTERN, UNLIT)
    with pytest.raises(SceneError, match=r"no body 'spike 4'; did you mean 'spike"):
        body_number(plan, "spike 4")
    with pytest.raises(SceneError, match="no body has a light to place"):
        body_number(plan, "pole")
    with pytest.raises(SceneError, match="no body has a light to place"):
        body_number(planned(UNLIT), None)


def test_lights_of_several_bodies_are_written_into_one_text():
    plan = planned(body("left"), UNLIT, body("right", x=50))
    moved = {
        k: [plan.scene_file.scene.bodies[k].lights[0].model_copy(update={"position_mm": (0, 0, k)})]
        for k in (0, 2)
    }
    text, new = relit(plan.scene_file, moved, "new.toml")
    assert [b.lights[0].position_mm[2] for b in new.scene.bodies if b.lights] == [0, 2]
    assert [b.lights[0].zone for b in new.scene.bodies if b.lights] == ["left", "right"]
    assert parse_scene(text, "new.toml").scene == new.scene


def test_a_colour_at_full_drive_stays_written():
    written = "drive = { red = 0.5, green = 0.25, blue = 1.0 }   # violet"
    plan = planned(body("one").replace("drive = { red = 0.5 }", written))
    light = plan.scene_file.scene.bodies[0].lights[0]
    higher = light.model_copy(update={"position_mm": (0, 0, 3)})
    text, _ = relit(plan.scene_file, {0: [higher]}, "new.toml")
    assert written in text
    dimmer = higher.model_copy(update={"drive": light.drive.model_copy(update={"red": 0.25})})
    text, _ = relit(plan.scene_file, {0: [dimmer]}, "new.toml")
    assert "red = 0.25, green = 0.25, blue = 1" in text
