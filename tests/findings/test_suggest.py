"""Suggestions: the right kind of advice for the right kind of fault, in plain words."""

from __future__ import annotations

import re

import numpy as np
import pytest

from glowsim.findings import findings_of
from glowsim.scene import parse_scene
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


@pytest.fixture(scope="module")
def spike():
    return judged(
        scene(
            """
shape = { kind = "spike", length_mm = 110, base_diameter_mm = 40, tip_radius_mm = 2 }
material = "upholstery_foam_white"
glow_where = { above_mm = 5 }
[[bodies.lights]]
board = "round_7"
position_mm = [0, 0, 12]
"""
        )
    )


def test_a_dark_tip_asks_for_another_light_up_there(spike):
    dark = next(f for f in spike.found if f.kind == "dark gap")
    assert dark.to_mm == pytest.approx(110, abs=1)
    assert "add a light near" in dark.suggestion
    height = float(re.search(r"near \(.*, .*, (.*)\) mm", dark.suggestion).group(1))
    assert dark.from_mm < height < dark.to_mm


def test_a_hot_foot_asks_for_more_material(spike):
    hot = next(f for f in spike.found if f.kind == "hot spot")
    assert hot.from_mm < 20
    assert re.search(r"add about \d+ mm of material", hot.suggestion)
    assert "run again to confirm" in hot.suggestion


def test_an_off_centre_light_is_asked_back_to_the_middle():
    report = judged(
        scene(
            """
shape = { kind = "rod", length_mm = 60, diameter_mm = 50 }
material = "upholstery_foam_white"
glow_where = { part = "side" }
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [17, 0, 30]
"""
        )
    )
    hot = next(f for f in report.found if f.kind == "hot spot")
    assert hot.body_place_mm[0] > 20
    assert re.search(r"move the light about \d+ mm sideways \(-x\)", hot.suggestion)


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


def test_a_bare_led_in_clear_resin_is_called_that():
    report = judged(
        scene(
            """
shape = { kind = "slab", length_mm = 50, width_mm = 50, thickness_mm = 20 }
material = "epoxy_clear"
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 8]
"""
        )
    )
    hot = next(f for f in report.found if f.kind == "hot spot")
    assert "the bare LED shows" in hot.suggestion
    assert any("rough guide" in c or "scattering" in c for c in report.trust["test"])


def test_a_hot_board_in_foam_is_flagged(spike):
    assert any(c.startswith("Heat: 1 of 1 boards") for c in spike.cautions)


def test_energy_account_closes_to_a_tenth_of_a_percent(spike):
    account = spike.account
    assert account.error_share < 1e-3
    assert "upholstery_foam_white" in account.absorbed_lm
    np.testing.assert_allclose(
        account.escaped_lm + account.absorbed_lm["upholstery_foam_white"],
        account.emitted_lm,
        rtol=1e-3,
    )


def test_findings_are_numbered_in_order_and_become_json(spike):
    assert [f.number for f in spike.found] == list(range(1, len(spike.found) + 1))
    plain = spike.as_json()
    assert plain["findings"][0]["suggestion"] == spike.found[0].suggestion
    assert plain["energy"]["error_share"] < 1e-3
    assert plain["thresholds"]["hot_spot_ratio"] == 1.5
