"""What `check` tells before anything is solved."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.findings.inspection import inspect
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of

ORB = """
[[bodies]]
name = "{name}"
shape = {{ kind = "orb", diameter_mm = {diameter_mm} }}
material = "upholstery_foam_white"
"""


def test_a_body_whose_name_begins_like_anothers_is_no_copy_of_it():
    tall = ORB.format(name="spike tall", diameter_mm=40)
    pattern = "patterns = [{ kind = 'along', count = 3, step_mm = [60, 0, 0] }]\n"
    scene_file = parse_scene(ORB.format(name="spike", diameter_mm=30) + pattern + tall)
    assert [(c.name, c.copies) for c in inspect(plan_of(scene_file))] == [
        ("spike", 3),
        ("spike tall", 1),
    ]


STRIP = """
[[bodies]]
name = "bowl"
material = "pla_white"
wall_mm = 2
shape = { kind = "orb", diameter_mm = 120 }
detail_mm = 8
  [[bodies.lights]]
  name = "dot"
  board = "rgb_5050_18ma"
  position_mm = [0, 0, -20]
  [[bodies.lights]]
  name = "brow"
  board = "strip_60"
  led_count = 6
  path_mm = [[-40, 0, 10], [0, -40, 10], [40, 0, 10]]
  drive = { red = 0, green = 0, blue = 0, white = 0 }
"""


def test_leds_of_a_strip_are_listed_together():
    (check,) = inspect(plan_of(parse_scene(STRIP)))
    assert len(check.lights) == 7  # each is a light of its own to the rest of the program
    told = check.as_json()
    assert "rows" not in told
    assert [(row["name"], row["leds"]) for row in told["lights"]] == [("dot", 1), ("brow", 6)]
    assert told["lights"][1]["depth_mm"] == min(light.depth_mm for light in check.lights[1:])
    assert check.suspicious == ("brow is turned off: all its drive levels are 0",)


PROPS = """
[[bodies]]
name = "lamp"
shape = { kind = "orb", diameter_mm = 40 }
material = "upholstery_foam_white"
detail_mm = 4
  [[bodies.lights]]
  name = "one"
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 3]
  drive = { red = 0, blue = 0 }
  [[bodies.lights]]
  name = "two"
  board = "rgb_5050_18ma"
  position_mm = [0.5, 0, 3]
  drive = { red = 0, green = 0, blue = 0 }
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, -19.2]
  direction = [0, 0, -1]
[[bodies]]
name = "unlit"
shape = { kind = "orb", diameter_mm = 30 }
material = "upholstery_foam_white"
position_mm = [100, 0, 0]
[[bodies]]
name = "head"
shape = { kind = "rod", length_mm = 50, diameter_mm = 40 }
material = "opaque_primer"
position_mm = [200, 0, 0]
[[bodies]]
name = "shell"
shape = { kind = "orb", diameter_mm = 40 }
material = "pla_white"
wall_mm = 2
cell_mm = 2.5
position_mm = [300, 0, 0]
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
"""


@pytest.fixture(scope="module")
def checks():
    return {check.name: check for check in inspect(plan_of(parse_scene(PROPS)))}


def test_bodies_are_told_by_what_they_are_made_of(checks):
    kinds = {name: check.kind for name, check in checks.items()}
    assert kinds == {
        "lamp": "solid", "unlit": "solid", "head": "opaque", "shell": "shell, wall 2 mm",
    }  # fmt: skip
    lamp, head = checks["lamp"], checks["head"]
    assert lamp.volume_cm3 == pytest.approx(np.pi / 6 * 4**3, rel=0.03)
    assert lamp.thickness_mm == pytest.approx(40 / 3, rel=0.03)  # 2 V / S of a ball
    assert lamp.optical > 1
    assert head.optical is None
    assert head.size_mm == pytest.approx((40, 40, 50), abs=0.2)


def test_lights_are_listed_with_their_place_and_depth(checks):
    one, two, third = checks["lamp"].lights
    assert (one.name, two.name, third.name) == ("one", "two", "light 3")
    assert one.centre_mm == (0, 0, 3)  # as written, though the LED shines from a little before
    assert two.centre_mm[0] == 0.5
    assert 15 < one.depth_mm < 20 > 1 > third.depth_mm


def test_what_a_second_pair_of_eyes_would_ask(checks):
    lamp = checks["lamp"].suspicious
    assert "one sits in the same place as another light" in lamp
    assert "two is turned off: all its drive levels are 0" in lamp
    assert any(doubt.startswith("light 3 lies only 0.") for doubt in lamp)
    assert not any("one is turned off" in doubt for doubt in lamp)
    assert not any("two sits" in doubt or "one lies" in doubt for doubt in lamp)
    assert checks["unlit"].suspicious == (
        "has no light of its own; it is drawn in room light only",
    )
    assert checks["head"].suspicious == ()
    assert checks["shell"].suspicious == (
        "its wall is thinner than a grid cell (2.5 mm); give cell_mm",
    )
