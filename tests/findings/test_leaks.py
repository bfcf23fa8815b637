"""Light leaks: what must stay dark and is lit is a finding; what is dark enough is none."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.findings import findings_of
from glowsim.findings.openings import _light
from glowsim.scene import parse_scene
from glowsim.transport.solve import solve
from tests.findings.glows import lit, plate

HEIGHT = plate().centroids[:, 2]
SCENE = """
[room]
illuminance_lx = 5
viewing_distance_mm = 1000
[findings]
whole_dark_ratio = {limit}
[[bodies]]
name = "plate"
shape = {{ kind = "slab", length_mm = 120, width_mm = 60, thickness_mm = 5 }}
material = "pla_white"
dark_where = {{ above_mm = 60 }}
"""


def leaks(leak=80.0, *, limit=0.33, noise=None, dark=HEIGHT > 60, **changed):
    """Findings of a plate that glows with 100 cd/m2 up to z = 60; above it a spot leaks."""

    def brightness(x, z):
        spot = np.hypot(x - 20, z - 90) < 10
        return np.where(z < 60, 100.0, np.where(spot, leak, 2.0))

    solver = "quick" if noise is None else "reference"
    glow = lit(brightness, noise, solver=solver, glows=HEIGHT < 60, dark=dark, **changed)
    scene = parse_scene(SCENE.format(limit=limit)).scene
    return findings_of(glow, scene).found


def test_a_lit_patch_of_what_must_stay_dark_is_found_where_it_is():
    (found,) = leaks()
    assert (found.kind, found.number) == ("light leak", 1)
    assert np.hypot(found.body_place_mm[0] - 20, found.body_place_mm[2] - 90) < 10
    assert found.ratio == found.ratio_to_mean == pytest.approx(0.8, rel=0.02)
    assert found.size_mm == pytest.approx(20, rel=0.1)
    assert found.label == "20 mm wide, 0.8 x the glow's mean"
    # 0.8 over 0.33 is 2.4.
    assert "dark_where: at most 33 % of the glow's mean), so make it 2.4 times" in found.suggestion
    assert "opaque coat" in found.suggestion


@pytest.mark.parametrize(
    "given",
    [{"leak": 30.0}, {"limit": 0.85}, {"dark": None}],
    ids=lambda given: next(iter(given)),
)
def test_what_is_dark_enough_or_may_be_lit_is_none(given):
    assert leaks(**given) == ()


def test_a_leak_that_noise_alone_could_make_says_so():
    (sure,) = leaks(noise=lambda x, z: 1.0)
    (doubtful,) = leaks(leak=40.0, noise=lambda x, z: 40.0)
    assert (sure.within_noise, doubtful.within_noise) == (False, True)
    assert 0 < sure.noise_to_mean < 0.01 < doubtful.noise_to_mean
    assert "more photons" in doubtful.suggestion
    # What noise hardly makes of nothing it may well make of what is just below the limit.
    (near,) = leaks(leak=45.0, noise=lambda x, z: 5.0)
    assert near.within_noise
    assert near.ratio > 8 * near.noise_to_mean


def test_open_holes_and_bare_leds_call_for_other_means():
    (hole,) = leaks(hole=HEIGHT > 60)
    assert "open hole" in hole.suggestion
    glow = lit(lambda x, z: 80.0)
    (bare,) = leaks(direct=2 * glow.bodies[0].diffuse * (HEIGHT > 60))
    assert "straight from an LED" in bare.suggestion


def test_the_place_of_an_opening_has_no_zero_below_zero():
    surface = SimpleNamespace(areas_mm2=np.ones(2), centroids=np.array([[-1e-3, 0, 4], [0, 0, 6]]))
    body = SimpleNamespace(surface=surface)
    light = _light("bowl", "opening", body, np.ones(2, bool), np.array([1e-6, 3e-6]))
    assert str(light.place_mm) == "(0.0, 0.0, 5.0)"
    assert (light.area_mm2, light.mean_lx) == (2, pytest.approx(2))


ORB = """
[[bodies]]
name = "orb"
shape = { kind = "orb", diameter_mm = 60 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 4
dark_where = { below_mm = -15 }
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, 0]
"""
MASK = """
[[bodies.masks]]
coat = "opaque_primer"
where = { below_mm = -15 }
"""


def test_paint_over_it_is_what_helps():
    """A solved orb, lit from its middle: its underside leaks nearly as much as the rest glows, but
    for the shadow of the board, until painted."""
    found = {}
    for name, text in (("bare", ORB), ("painted", ORB + MASK)):
        scene_file = parse_scene(text)
        found[name] = findings_of(solve(scene_file), scene_file.scene).found
    (leak,) = (f for f in found["bare"] if f.kind == "light leak")
    assert 0.6 < leak.ratio_to_mean < 0.9
    assert leak.body_place_mm[2] < -15
    assert not any(f.kind == "light leak" for f in found["painted"])
