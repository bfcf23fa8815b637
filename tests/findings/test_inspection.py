"""What `check` tells before anything is solved."""

from __future__ import annotations

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
