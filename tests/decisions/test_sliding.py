"""Strips slid along their paths: where they end up, what is written, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.decisions import starts
from glowsim.decisions.effort import Effort
from glowsim.decisions.response import Responses
from glowsim.decisions.sliding import slide, slides
from glowsim.decisions.starts import Starts
from glowsim.errors import SceneError
from glowsim.geometry.strips import path_strips
from glowsim.optics.photometry import luminance_of_emitter_cd_m2
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from tests.support.placing import MATERIAL

SPARING = Effort(patches=24, cells=2000, faces=400)
THREAD = """
[boards.thread]
like = "strip_60"
width_mm = 0.4
thickness_mm = 0.2
led_window_mm = 0.2
"""
"""A strip too narrow to throw a shadow."""
BLADE = """\
[[bodies]]
name = "blade"
material = "cloud"
shape = {{ kind = "rod", length_mm = 60, diameter_mm = 24 }}
  [[bodies.lights]]
  name = "core strip"           # glued to the dowel
  board = "thread"
  led_count = {leds}
  path_mm = [[0, 0, 5], [0, 0, {top}]]
  direction = [0, -1, 0]
  drive = {{ red = 0.1, green = 0.1, blue = 0.1 }}
{more}"""


def blade(leds=2, more="", top=55):
    return parse_scene(
        BLADE.format(leds=leds, more=more, top=top) + MATERIAL.format(mu_a=0.005, mu_s=0.4) + THREAD
    )


def test_a_strip_at_one_end_of_a_blade_is_slid_to_its_middle():
    scene = blade()
    assert slides(scene.scene.bodies[0])
    answer = slide(scene, effort=SPARING)
    assert answer.worth
    (one,) = answer.slides
    half = (50 - 2 * 1000 / 60) / 2
    assert one.start_mm == pytest.approx(half, abs=2.1)
    assert one.was_mm == 0
    assert answer.after.evenness.off_by < answer.before.evenness.off_by
    assert f"start_mm = {one.start_mm:g}\n" in answer.text_of_scene
    assert "# glued to the dowel" in answer.text_of_scene
    (light,) = parse_scene(answer.text_of_scene).scene.bodies[0].lights
    (was,) = scene.scene.bodies[0].lights
    assert light == was.model_copy(update={"start_mm": one.start_mm})


FIXED = """\
  [[bodies.lights]]
  board = "thread"
  led_count = 1
  position_mm = [0, 0, 50]
  direction = [0, -1, 0]
  along = [0, 0, 1]
  drive = { red = 0.1, green = 0.1, blue = 0.1 }
"""


@pytest.mark.slow
def test_read_backwards_the_strips_bring_what_the_forward_solve_says(monkeypatch):
    monkeypatch.setattr(starts, "STEP_MM", 20.0)
    coloured = FIXED + (
        '  [[bodies.lights]]\n  board = "thread"\n  led_count = 2\n  start_mm = 6\n'
        "  path_mm = [[6, 0, 10], [6, 0, 52]]\n  direction = [1, 0, 0]\n"
        "  drives = [{ red = 0.3, green = 0, blue = 0 }, { red = 0, green = 0, blue = 0.4 }]\n"
        '  [[bodies.lights]]\n  board = "three"\n  board_count = 2\n  pitch_mm = 20\n'
        "  path_mm = [[-6, 0, 10], [-6, 0, 40]]\n  direction = [-1, 0, 0]\n  separate_leds = true\n"
        '[boards.three]\nlike = "round_7"\nled_count = 3\nring_diameter_mm = 6\ndiameter_mm = 8\n'
    )
    scene = blade(more=coloured)
    plan = plan_of(scene)
    responses = Responses(plan, 0, SPARING)
    looks = Starts(plan, 0, path_strips(scene, 0, plan.catalogue), responses)
    assert [float(s[k]) for s, k in zip(looks.starts, looks.now, strict=True)] == [0.0, 6.0, 0.0]
    # Light read backwards knows of no boards.
    problem = responses.problem
    given = responses.quick.respond(problem.emitters, ())
    _, sources = plan.copies([np.zeros((11, 3))])
    flux = np.array([source.flux_lm * source.drive for source in sources])
    leaving = given.diffuse * responses.ahead + given.direct
    light = np.einsum("kb,kbf->f", flux, leaving)
    patches = np.bincount(responses.patch, light) / responses.area_mm2
    assert_allclose(looks.luminance(looks.now), luminance_of_emitter_cd_m2(patches), rtol=0.03)


def test_what_cannot_be_slid_is_told_in_one_line():
    with pytest.raises(
        SceneError, match=r"path_mm: 'core strip' has no room to be slid: .* 34\.0 mm"
    ) as told:
        slide(blade(top=39), effort=SPARING)
    assert "\n" not in str(told.value)
