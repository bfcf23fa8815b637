"""What readings leave open of a figure, against solving the prop anew with other coefficients."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.decisions.odds import counted, odds_of, tenths
from glowsim.findings import findings_of
from glowsim.scene import parse_scene
from glowsim.transport.solve import solve

SCENE = """
[materials.my_foam]
like = "upholstery_foam_white"
label = "My foam"
source = "measured on a test piece, 2026-03-14"
confidence = "measured"
mu_a_per_mm = {mu_a}
mu_s_reduced_per_mm = 0.3
mu_a_factor_by_band = 1.25
mu_s_reduced_factor_by_band = 1.15
correlation_by_band = {together}
[findings]
{findings}
[[bodies]]
name = "ball"
shape = {{ kind = "orb", diameter_mm = 30 }}
material = "my_foam"
detail_mm = 4
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 4]
"""


def scene(mu_a=0.004, together=-0.5, findings=""):
    return parse_scene(SCENE.format(mu_a=mu_a, together=together, findings=findings))


@pytest.fixture(scope="module")
def lit():
    """The prop solved and judged."""
    file = scene()
    glow = solve(file, seed=1)
    return file, glow, findings_of(glow, file.scene)


@pytest.fixture(scope="module")
def odds(lit):
    return odds_of(lit[1], lit[0], lit[2])[0]


@pytest.mark.slow
def test_the_range_of_the_mean_is_that_of_new_solves(lit, odds):
    """With mu_s' known, mu_a at one deviation either side gives the ends of the range."""
    file = parse_scene(
        SCENE.format(mu_a=0.004, together=0.0, findings="").replace("band = 1.15", "band = 1.0001")
    )
    (known,) = odds_of(lit[1], file, lit[2])
    ends = []
    for factor in (1.25, 1 / 1.25):
        other = scene(mu_a=0.004 * factor)
        ends.append(findings_of(solve(other, seed=1), other.scene).bodies[0].mean_cd_m2)
    middle = lit[2].bodies[0].mean_cd_m2
    width = np.log(known.mean_cd_m2[1] / known.mean_cd_m2[0])
    assert 0.9 * np.log(ends[1] / ends[0]) < width < 1.1 * np.log(ends[1] / ends[0])
    assert known.mean_cd_m2[0] < middle < known.mean_cd_m2[1]
    assert odds.mean_cd_m2[0] < middle < odds.mean_cd_m2[1]


@pytest.mark.slow
def test_what_errs_together_counts(lit, odds):
    """Both coefficients darken the glow: erring against each other they matter less."""
    (apart,) = odds_of(lit[1], scene(together=0.9), lit[2])
    assert np.ptp(np.log(odds.mean_cd_m2)) < 0.7 * np.ptp(np.log(apart.mean_cd_m2))


def test_it_says_whose_numbers_they_are(odds):
    said = " ".join(odds.sentences)
    assert "My foam (measured on a test piece, 2026-03-14)" in said
    assert "68 %" in said


def test_an_open_verdict_is_told_in_tenths(lit):
    """A target that lies at the figure itself is met in about half of the cases."""
    file, glow, findings = lit
    limit = round(findings.bodies[0].worse_end, 4)
    file = scene(findings=f"even_from = {min(limit + 0.1, 0.99)}\nevenness_target = {limit}")
    judged = findings_of(glow, file.scene)
    judged = replace(judged, found=())
    (one,) = odds_of(glow, file, judged)
    assert 0.2 < one.enough < 0.8
    assert f"even enough in {tenths(one.enough)}" in " ".join(one.sentences)


def test_a_material_out_of_the_catalogue_says_nothing(lit):
    text = SCENE.format(mu_a=0.004, together=0, findings="").replace(
        'material = "my_foam"', 'material = "upholstery_foam_white"'
    )
    assert odds_of(lit[1], parse_scene(text), lit[2]) == ()
    assert counted(()) == ()


def test_tenths():
    assert [tenths(share) for share in (0.03, 0.5, 0.84, 0.97)] == [
        "1 in 10", "5 in 10", "8 in 10", "9 in 10",
    ]  # fmt: skip
