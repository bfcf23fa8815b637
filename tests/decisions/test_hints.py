"""Where light would help: held against boards that are really put there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.decisions.hints import hints_of
from glowsim.findings import findings_of, looks_of
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp

SCENE = """
[[bodies]]
name = "bud"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 44, tip_radius_mm = 8 }
material = "upholstery_foam_white"
detail_mm = 4
cell_mm = 2.5
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 12]
"""


@pytest.fixture(scope="module")
def lit():
    prop, file = PreparedProp(), parse_scene(SCENE)
    plan = plan_of(file)
    return prop, file, plan, prop.glow(plan)


def test_more_light_helps_near_the_dark_tip_and_the_gain_comes_true(lit):
    prop, file, plan, glow = lit
    (look,) = looks_of(glow, file.scene.room)
    gap = next(f for f in findings_of(glow, file.scene).found if f.kind == "dark gap")
    problem = prop.problem(plan, 0)
    flux = glow.flux_lm(glow.copies[0]).sum(axis=0)
    hints = hints_of(prop.quick(problem), problem, look, gap, flux)
    tip, foot = hints.points_mm[:, 2] > 42, hints.points_mm[:, 2] < 12
    assert hints.effect[tip].mean() > 0.3
    assert hints.effect[foot].mean() < 0
    assert hints.gain_at(hints.points_mm[0]) > 3
    # The same light a second time, there: does the place over the mean rise as foretold?
    k = int(np.argmin(np.linalg.norm(hints.points_mm - [0, 0, 38], axis=1)))
    (body,) = file.scene.bodies
    more = body.lights[0].model_copy(update={"position_mm": tuple(hints.points_mm[k])})
    both = body.model_copy(update={"lights": (body.lights[0], more)})
    scene = file.scene.model_copy(update={"bodies": (both,)})
    (after,) = looks_of(prop.glow(plan_of(replace(file, scene=scene))), scene.room)
    centre = np.array(gap.body_place_mm)

    def place_over_mean(look):
        area = look.body.surface.areas_mm2
        apart = np.linalg.norm(look.body.surface.centroids - centre, axis=1)
        near = look.glows & (apart <= gap.size_mm / 2)
        mean = np.average(look.luminance_cd_m2[look.glows], weights=area[look.glows])
        return np.average(look.luminance_cd_m2[near], weights=area[near]) / mean

    # The board's own shadow is left out of what is foretold.
    foretold = hints.gain_at(hints.points_mm[k])
    assert place_over_mean(after) / place_over_mean(look) == pytest.approx(foretold, rel=0.35)


def test_without_a_finding_the_darkest_places_are_to_be_mended(lit):
    prop, file, plan, glow = lit
    (look,) = looks_of(glow, file.scene.room)
    problem = prop.problem(plan, 0)
    hints = hints_of(prop.quick(problem), problem, look, None, np.ones(3))
    assert hints.words == "darkest twentieth"
    assert hints.points_mm[0, 2] > 30
