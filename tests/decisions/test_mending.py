"""Suggestions are tried before they are printed, and foretell the whole effect."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.decisions import mending
from glowsim.decisions.mending import Mended, mended, tried
from glowsim.decisions.outcomes import Seen, Tried
from glowsim.decisions.remedies import Remedy
from glowsim.findings import findings_of
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve

SPIKE = """
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 90, base_diameter_mm = 40, tip_radius_mm = 4 }
material = "upholstery_foam_white"
detail_mm = 4
cell_mm = 2.5
[[bodies.masks]]
coat = "black_paint"
where = { part = "base" }
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 8]
direction = [0, 0, -1]
"""


@pytest.fixture(scope="module")
def spike():
    file = parse_scene(SPIKE)
    glow = solve(file)
    return file, glow, findings_of(glow, file.scene)


@pytest.fixture(scope="module")
def tries(spike) -> list[Tried]:
    file, glow, findings = spike
    ((body, found, tries),) = tried(plan_of(file), glow, findings)
    assert body == "spike"
    assert found
    return tries


PANE = """
[[bodies]]
name = "pane"
material = "acrylic_clear"
shape = { kind = "slab", length_mm = 40, width_mm = 14, thickness_mm = 50 }
[[bodies.masks]]
coat = "frosted_face"
where = { facing = [0, -1, 0], facing_within_deg = 20 }
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 3]
"""


@pytest.mark.slow
def test_of_a_clear_body_foil_over_the_side_that_loses_light_is_tried():
    file = parse_scene(PANE)
    glow = solve(file)
    findings = findings_of(glow, file.scene)
    ((_, found, (foil,)),) = tried(plan_of(file), glow, findings)
    assert found
    assert "aluminium foil tape over the bare top" in foil.remedy.words
    scene = file.scene.model_copy(update={"bodies": (foil.remedy.body,)})
    after = findings_of(solve(replace(file, scene=scene)), scene).bodies[0]
    assert foil.after.mean == pytest.approx(after.mean_cd_m2, rel=0.15)
    assert after.mean_cd_m2 > 1.2 * findings.bodies[0].mean_cd_m2


@pytest.mark.slow
def test_what_is_foretold_comes_true_when_the_change_is_written(spike, tries):
    file, _, findings = spike
    words = " ".join(one.remedy.words for one in tries)
    for kind in ("add a light near", "small boards", "aluminium foil under"):
        assert kind in words
    best = min(tries, key=lambda one: one.after.off_by)
    foil = next(one for one in tries if "foil" in one.remedy.words)
    for one in (best, foil):
        scene = file.scene.model_copy(update={"bodies": (one.remedy.body,)})
        (there,) = findings_of(solve(replace(file, scene=scene)), scene).bodies
        assert np.log(one.after.off_by) == pytest.approx(np.log(there.off_by), rel=0.03)
        assert one.after.mean == pytest.approx(there.mean_cd_m2, rel=0.03)
        assert one.after.within == pytest.approx(there.within_share, abs=0.05)
    assert best.helps
    # A light that faces a black base at 8 mm loses much of what it gives there.
    assert foil.after.mean > 1.1 * findings.bodies[0].mean_cd_m2


@pytest.mark.slow
def test_what_makes_it_worse_is_not_recommended_and_all_is_kept(spike, tries, monkeypatch):
    file, glow, findings = spike
    answer = mended(file, glow, findings)
    said = " ".join([*(words for words, _ in answer.suggestions.values()), *answer.also])
    for one in tries:
        assert (one.words in said) <= one.helps
        assert (one.after.off_by <= 1.005 * one.before.off_by) or one.words not in said
    again = json.loads(json.dumps(answer.as_json()))
    monkeypatch.setattr(mending, "tried", None)
    assert mended(file, glow, findings, kept=again) == answer
    assert Mended.kept(again, "another scene") is None
    shown = answer.put_into(findings)
    assert [f.suggestion for f in shown.found] == [
        answer.suggestions[f.number][0] for f in shown.found
    ]


def seen(off_by: float, mean: float) -> Seen:
    return Seen(off_by, 0.3, mean, 1.0, 300.0, {1: 0.1})


def test_the_loss_is_told_with_the_gain_and_nothing_that_helps_is_leave_it():
    body = parse_scene(SPIKE).scene.bodies[0]
    remedy = Remedy("8 mm more foam all round", body, (1,))
    dimmer = Tried(remedy, seen(3.8, 120.0), seen(3.1, 61.0))
    assert "off by x 3.8 -> x 3.1, but the mean falls to 51 %, 120 -> 61 cd/m2" in dimmer.words
    assert dimmer.helps
    vain = Tried(remedy, seen(3.8, 120.0), seen(3.85, 200.0))
    assert not vain.helps
    chosen, also = mending._told([vain], [SimpleNamespace(number=1)], "spike")
    assert chosen == {}
    assert mending._suggestion(None, "spike")[0].startswith("leave it")
    assert also == [
        "spike: leave it as it is, as far as simple changes go; tried: 8 mm more foam all round "
        "(off by x 3.85, mean 167 %)"
    ]
