"""A solved variant, judged: of its own body alone."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from glowsim.decisions.allowed import Allowed
from glowsim.decisions.boards import BoardKind, Poses
from glowsim.decisions.effort import Effort
from glowsim.decisions.response import Responses
from glowsim.decisions.sensitivity import patch_luminance
from glowsim.decisions.step import judged
from glowsim.findings import looks_of
from glowsim.scene import Placing, parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve
from tests.support.placing import DOT

ORB = """
[[bodies]]
name = "{name}"
shape = {{ kind = "orb", diameter_mm = 40 }}
material = "upholstery_foam_white"
detail_mm = 8
cell_mm = 4
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 5]
drive = {{ green = {green} }}
"""


def test_a_body_whose_name_begins_like_anothers_is_not_taken_for_it():
    text = ORB.format(name="orb tall", green=0.1) + ORB.format(name="orb", green=1.0)
    scene_file = parse_scene(text)
    plan, glow = plan_of(scene_file), solve(scene_file)
    step = judged(glow, scene_file, 1, 1.0, "upholstery_foam_white", plan.catalogue)
    assert [copy.name for copy in step.copies] == ["orb"]
    assert step.evenness.body == "orb"
    # It comes back from another process whole, though rays do not travel.
    assert pickle.loads(pickle.dumps(step)).as_json() == step.as_json()
    responses = Responses(plan, 1, Effort(patches=30))
    patches = patch_luminance(responses, step)
    # Solved once, as only their drive differs; each keeps its own name.
    assert len(glow.bodies) == 1
    other, look = looks_of(glow, scene_file.scene.room)
    assert (other.name, look.name) == ("orb tall", "orb")
    # Whatever patches there are, they hold what the body's own glowing faces do.
    area = look.body.surface.areas_mm2[look.glows]
    whole = float(area @ look.luminance_cd_m2[look.glows])
    assert float(responses.area_mm2 @ patches) == pytest.approx(whole, rel=1e-6)


def test_a_body_read_backwards_is_as_bright_as_findings_say():
    """Foam is 1.26 times as bright square-on as its exitance over pi: on both sides or on none."""
    text = ORB.format(name="orb", green=1.0).replace("rgb_5050_18ma", "dot")
    scene_file = parse_scene(text + DOT)
    plan = plan_of(scene_file)
    (look,) = looks_of(solve(scene_file), scene_file.scene.room)
    responses = Responses(plan, 0, Effort(patches=30))
    body = plan.scene_file.scene.bodies[0]
    kind = BoardKind(body.lights[0], plan.catalogue, 0.4, body)
    poses = Poses(np.array([[0.0, 0.0, 5.0]]), np.array([[0.0, 0.0, 1.0]]))
    (patches,) = responses.luminance_cd_m2(kind, poses, Allowed(responses.problem, Placing(), kind))
    area = look.body.surface.areas_mm2
    mean = float(area @ look.luminance_cd_m2 / area.sum())
    assert float(responses.area_mm2 @ patches / area.sum()) == pytest.approx(mean, rel=0.03)
