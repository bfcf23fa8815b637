"""What an estimated material leaves open, against new solves with the other coefficients."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.catalogue import load_catalogue
from glowsim.findings import findings_of
from glowsim.findings.ranges import material_range
from glowsim.scene import parse_scene
from glowsim.transport.solve import solve

ORB = 'shape = { kind = "orb", diameter_mm = 40 }'


def text(material: str, shape: str, factors=(1.0, 1.0)) -> str:
    entry = load_catalogue().material(material)
    mu_a = [value * factors[0] for value in entry.mu_a_per_mm]
    mu_s = [value * factors[1] for value in entry.mu_s_reduced_per_mm]
    return f"""
[materials.tried]
like = "{material}"
mu_a_per_mm = {mu_a}
mu_s_reduced_per_mm = {mu_s}
mu_a_factor = {entry.mu_a_factor}
mu_s_reduced_factor = {entry.mu_s_reduced_factor}
[[bodies]]
name = "test"
material = "tried"
detail_mm = 6
{shape}
[[bodies.lights]]
board = "round_7"
position_mm = [0, 0, 14]
"""


def let_out(scene_text: str) -> tuple[float, tuple[float, float]]:
    scene_file = parse_scene(scene_text)
    glow = solve(scene_file)
    flux, account = glow.flux_lm(glow.copies[0]), glow.bodies[0].account
    total = float((flux * account.escaped).sum())
    return total, material_range(account, flux, scene_file.scene)


@pytest.mark.parametrize(
    ("material", "shape"),
    [
        (
            "upholstery_foam_white",
            'shape = { kind = "spike", length_mm = 110, base_diameter_mm = 40 }\ncell_mm = 2.5',
        ),
        pytest.param(
            "pla_white",
            'shape = { kind = "orb", diameter_mm = 70 }\nwall_mm = 3\ncell_mm = 1.5',
            marks=pytest.mark.slow,
        ),
    ],
)
def test_a_pale_material_leaves_open_what_new_solves_show(material, shape):
    entry = load_catalogue().material(material)
    now, (low, high) = let_out(text(material, shape))
    shifts = []
    for sign in (1, -1):
        one = [
            let_out(text(material, shape, factors))[0] / now
            for factors in (
                (entry.mu_a_factor**sign, 1.0),
                (1.0, entry.mu_s_reduced_factor**sign),
            )
        ]
        # Two independent causes add up as squares of logarithms.
        shifts.append(np.hypot(*np.log(one)))
    assert np.log(1 / low) == pytest.approx(shifts[0], rel=0.3)
    assert np.log(high) == pytest.approx(shifts[1], rel=0.3)


def test_a_clear_material_leaves_what_its_board_takes_and_a_dark_one_has_a_wide_range():
    shape = 'shape = { kind = "spike", length_mm = 110, base_diameter_mm = 40 }\ncell_mm = 2.5'
    _, (low, high) = let_out(text("upholstery_foam_charcoal", shape))
    assert low < 0.1
    assert high > 10
    scene_file = parse_scene(text("upholstery_foam_white", shape, (0.0, 1.0)))
    glow = solve(scene_file)
    flux = glow.flux_lm(glow.copies[0])
    account = glow.bodies[0].account
    low, high = material_range(account, flux, scene_file.scene)
    # Light that turns round more often meets the board more often: 0.15 to 0.25 of it.
    assert 0.7 < low < 0.9
    assert 1.1 < high < 1.3
    nothing = replace(account, absorbed=0 * account.absorbed)
    assert material_range(nothing, flux, scene_file.scene) == pytest.approx((1, 1))


def test_light_that_comes_from_deep_dies_by_a_power():
    """Of 4 % that get out, exp(-k r), with k^2 in proportion to mu_a mu_s': a closed form."""
    scene_file = parse_scene(text("upholstery_foam_charcoal", ORB))
    entry = load_catalogue().material("upholstery_foam_charcoal")
    both = np.exp(np.hypot(np.log(entry.mu_a_factor), np.log(entry.mu_s_reduced_factor)))
    account = SimpleNamespace(
        regions=("tried",), escaped=np.full((1, 3), 0.04), absorbed=np.full((1, 3, 1), 0.96)
    )
    found = material_range(account, np.ones((1, 3)), scene_file.scene)
    assert found == pytest.approx([0.04 ** (both ** (s / 2) - 1) for s in (1, -1)], rel=1e-6)


@pytest.mark.slow
def test_the_range_of_the_verdict_holds_both_bins_and_material():
    scene_file = parse_scene(
        text("pla_white", 'shape = { kind = "orb", diameter_mm = 70 }\nwall_mm = 3\ncell_mm = 1.5')
    )
    glow = solve(scene_file)
    (verdict,) = findings_of(glow, scene_file.scene).lit
    bins = max(light.flux_factor for light in glow.lights)
    assert verdict.low < verdict.ratio / bins
    assert verdict.high > verdict.ratio * 1.05
