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
