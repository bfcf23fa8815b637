"""Suggestions: the right kind of advice for the right kind of fault, in plain words."""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.findings import findings_of
from glowsim.findings.luminance import looks_of
from glowsim.findings.suggest import _too_far_apart
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Slab, parse_scene
from glowsim.transport import guide
from glowsim.transport.reference import Goal
from glowsim.transport.solve import solve


def scene(body: str, room: str = "") -> str:
    return f"""
[room]
illuminance_lx = 5
viewing_distance_mm = 1500
{room}
[[bodies]]
name = "test"
{body}
"""


def judged(text: str):
    scene_file = parse_scene(text)
    return findings_of(solve(scene_file), scene_file.scene)


SPIKE = """
shape = {{ kind = "spike", length_mm = {length}, base_diameter_mm = {base}, tip_radius_mm = 2 }}
material = "upholstery_foam_white"
glow_where = {{ above_mm = 5 }}
detail_mm = 3
cell_mm = 2
[[bodies.lights]]
board = "round_7"
position_mm = [0, 0, 12]
"""
ROD = """
shape = {{ kind = "rod", length_mm = 60, diameter_mm = 50 }}
material = "upholstery_foam_white"
glow_where = {{ part = "side" }}
detail_mm = 3
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [{x}, 0, 30]
"""


@pytest.fixture(scope="module")
def spike():
    return judged(scene(SPIKE.format(length=110, base=40)))


def peak(report) -> float:
    """Greatest over mean luminance of the only body."""
    return report.bodies[0].greatest_cd_m2 / report.bodies[0].mean_cd_m2


def share_above(text: str, height_mm: float) -> float:
    """Mean luminance above a height over the mean of the only body."""
    scene_file = parse_scene(text)
    (look,) = looks_of(solve(scene_file), scene_file.scene.room)
    area = look.body.surface.areas_mm2 * look.glows
    above = area * (look.body.surface.centroids[:, 2] > height_mm)
    seen = look.seen_cd_m2
    return float((above @ seen / above.sum()) / (area @ seen / area.sum()))


def foretold(text: str) -> tuple[float, float]:
    now, then = re.search(r"from ([\d.]+) to about ([\d.]+)", text).groups()
    return float(now), float(then)


def test_a_dark_tip_asks_for_another_light_up_there_and_that_helps(spike):
    dark = next(f for f in spike.found if f.kind == "dark gap")
    assert dark.to_mm == pytest.approx(110, abs=1)
    asked = re.search(r"add a light near \((.*?)\) mm, ([\d.]+) times as bright", dark.suggestion)
    place, share = asked.groups()
    assert dark.from_mm < float(place.split(",")[2]) < dark.to_mm
    # A single LED at a current that gives it that share of the seven's light.
    more = f"""
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [{place}]
channel_current_ma = {7 * 18 * float(share)}
"""
    text = SPIKE.format(length=110, base=40)
    now, then = foretold(dark.suggestion)
    assert share_above(scene(text), dark.from_mm) == pytest.approx(now, rel=0.2)
    assert share_above(scene(text + more), dark.from_mm) == pytest.approx(then, rel=0.3)
    assert then > 2 * now
    assert peak(judged(scene(text + more))) < 1.02 * peak(spike)


def test_a_hot_foot_asks_for_more_material_and_that_helps_as_foretold(spike):
    hot = next(f for f in spike.found if f.kind == "hot spot")
    assert hot.from_mm < 20
    more = float(re.search(r"add about (\d+) mm of material all round", hot.suggestion).group(1))
    now, then = foretold(hot.suggestion)
    assert now == pytest.approx(peak(spike), rel=0.02)
    thicker = judged(scene(SPIKE.format(length=110 + more, base=40 + 2 * more)))
    assert peak(thicker) == pytest.approx(then, rel=0.15)
    assert "run again to confirm" in hot.suggestion


def test_an_off_centre_light_is_asked_back_to_the_middle_and_that_helps_as_foretold():
    report = judged(scene(ROD.format(x=17)))
    hot = next(f for f in report.found if f.kind == "hot spot")
    assert hot.body_place_mm[0] > 20
    asked = re.search(r"move the light about (\d+) mm sideways \(-x\)", hot.suggestion)
    now, then = foretold(hot.suggestion)
    assert now == pytest.approx(peak(report), rel=0.05)
    moved = judged(scene(ROD.format(x=17 - float(asked.group(1)))))
    assert then < 0.3 * now
    assert peak(moved) == pytest.approx(then, rel=0.4)


def test_a_light_in_the_middle_is_left_there():
    report = judged(scene(ROD.format(x=0)))
    hot = [f for f in report.found if f.kind == "hot spot"]
    assert hot
    assert not any("move" in f.suggestion for f in hot)


@pytest.mark.slow
def test_in_a_hollow_no_light_is_asked_to_where_light_comes_from_the_walls():
    report = judged(
        scene(
            """
shape = { kind = "orb", diameter_mm = 80 }
material = "pla_white"
wall_mm = 2
cell_mm = 1.5
detail_mm = 5
[[bodies.inserts]]
kind = "core"
coat = "black_plastic_pipe"
shape = { kind = "rod", length_mm = 20, diameter_mm = 26 }
position_mm = [0, 0, -45]
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, -24]
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [30, 0, 10]
direction = [1, 0, 0]
"""
        )
    )
    hot = next(f for f in report.found if f.kind == "hot spot")
    assert re.match(r"move light 2 about \d+ mm sideways \(-x\)", hot.suggestion)
    dark = [f for f in report.found if f.kind == "dark gap"]
    assert dark
    assert all("add a light near" not in f.suggestion for f in dark)


def test_a_sparse_strip_is_told_so():
    report = judged(
        scene(
            """
shape = { kind = "slab", length_mm = 60, width_mm = 200, thickness_mm = 14 }
material = "eva_foam_white"
[[bodies.lights]]
board = "strip_30"
led_count = 5
position_mm = [0, 0, 6]
along = [0, 1, 0]
"""
        )
    )
    hot = next(f for f in report.found if f.kind == "hot spot")
    assert "stand 33 mm apart but only" in hot.suggestion
    assert "common practice, no source" in hot.suggestion


def test_a_bare_led_in_clear_resin_is_called_that(monkeypatch):
    monkeypatch.setattr(guide, "FULL_GOAL", Goal(noise=None, photons=1))
    report = judged(
        scene(
            """
shape = { kind = "slab", length_mm = 50, width_mm = 50, thickness_mm = 20 }
material = "epoxy_clear"
detail_mm = 5
cell_mm = 4
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 8]
"""
        )
    )
    hot = next(f for f in report.found if f.kind == "hot spot")
    assert "the bare LED shows" in hot.suggestion
    assert any("rough guide" in c or "scattering" in c for c in report.trust["test"])


def test_energy_account_closes_to_a_tenth_of_a_percent(spike):
    account = spike.account
    assert account.error_share < 1e-3
    assert list(account.absorbed_lm) == ["upholstery_foam_white", "board round_7"]
    taken = np.sum(list(account.absorbed_lm.values()), axis=0)
    np.testing.assert_allclose(account.escaped_lm + taken, account.emitted_lm, rtol=1e-3)


def test_findings_are_numbered_in_order_and_become_json(spike):
    assert [f.number for f in spike.found] == list(range(1, len(spike.found) + 1))
    plain = spike.as_json()
    assert plain["findings"][0]["suggestion"] == spike.found[0].suggestion
    assert plain["energy"]["error_share"] < 1e-3
    assert plain["thresholds"]["hot_spot_ratio"] == 1.5


@pytest.mark.parametrize(
    ("kind", "size_mm", "told"),
    [("hot spot", 50.0, True), ("dark gap", 10.0, True), ("dark gap", 50.0, False)],
)
def test_leds_that_are_too_far_apart_explain_gaps_between_them_and_no_wider_ones(
    kind, size_mm, told
):
    slab = shape_mesh(Slab(kind="slab", length_mm=100, width_mm=30, thickness_mm=20))
    row = np.array([[x, 0.0, slab.bounds[1][2] - 4.0] for x in (-20.0, -10.0, 0.0, 10.0, 20.0)])
    body = SimpleNamespace(led_mm=row, led_light=np.zeros(5, int), surface=slab, light_count=1)
    patch = SimpleNamespace(kind=kind, size_mm=size_mm, light=0)
    words = _too_far_apart(patch, SimpleNamespace(body=body))
    assert ("stand 10 mm apart but only 4.0 mm below the surface" in words) is told
