"""The bound on evenness: hand-made cases, and no mixture beats it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import sparse

from glowsim.decisions.bound import Bound, Gap, Mixture, best_mixture, bound_of
from glowsim.decisions.objective import Aim, Wish, percentile, uneven_slope
from glowsim.decisions.words import bound_words
from glowsim.findings.unevenness import off_by, uneven


def aim(patches: int, dark: int = 0, target: float = 0.5) -> Aim:
    glow = np.arange(patches) < patches - dark
    lit = int(glow.sum())
    return Aim(
        "evenness", np.ones(patches), glow, target, 0.33, sparse.identity(lit).tocsr(), np.ones(lit)
    )


def test_two_lights_that_fill_each_other_reach_one():
    luminance = np.array([[2.0, 0.0], [0.0, 1.0]])
    found = bound_of(luminance, aim(2))
    assert found.least == pytest.approx(1.0)
    assert found.percent == pytest.approx(1.0)
    assert sorted(found.sites) == [0, 1]


def test_one_light_alone_is_its_own_bound():
    found = bound_of(np.array([[3.0, 1.0]]), aim(2))
    assert found.least == pytest.approx(0.5)
    # Patch 2 is half of the area; 5 % of it may fall short: t - 0.5 <= 2 x 0.05 t.
    assert found.percent == pytest.approx(0.5 / 0.9)


def test_no_mixture_beats_the_bound():
    rng = np.random.default_rng(1)
    luminance = rng.random((30, 60)) ** 3
    wanted = aim(60)
    bound = bound_of(luminance, wanted)
    mixed = rng.random((4000, 30)) ** 4 @ luminance
    assert wanted.least(mixed).max() <= bound.least + 1e-9
    assert wanted.evenness(mixed).max() <= bound.percent + 1e-9
    best = np.zeros(30)
    best[bound.sites] = bound.level
    assert float(wanted.mean(best @ luminance)) > 0


def test_more_room_never_makes_the_bound_worse():
    rng = np.random.default_rng(2)
    luminance = rng.random((40, 50)) ** 3
    bounds = [bound_of(luminance[:k], aim(50)) for k in (5, 10, 20, 40)]
    for less, more in itertools.pairwise(bounds):
        assert more.percent >= less.percent - 1e-9
        assert more.least >= less.least - 1e-9


def test_what_must_stay_dark_lowers_the_bound():
    luminance = np.array([[1.0, 0.2, 0.0], [0.2, 1.0, 1.0]])
    free = bound_of(luminance[:, :2], aim(2))
    held = bound_of(luminance, aim(3, dark=1))
    assert held.least < free.least - 0.05


@pytest.mark.parametrize("share", [0.05, 0.2])
def test_percentile_agrees_with_sorting(share):
    rng = np.random.default_rng(3)
    values, area = rng.random((5, 200)), rng.random(200) + 0.5
    for row, found in zip(values, percentile(values, area, share), strict=True):
        order = np.argsort(row)
        place = (np.cumsum(area[order]) - area[order] / 2) / area.sum()
        assert found == pytest.approx(np.interp(share, place, row[order]), rel=1e-9)


def test_the_best_mixture_found_stands_between_its_start_and_the_bound():
    rng = np.random.default_rng(4)
    luminance = rng.random((30, 60)) ** 3
    wanted = aim(60)
    bound = bound_of(luminance, wanted)
    alike = np.ones(30)
    start = float(wanted.evenness((alike @ luminance)[None])[0])
    found = best_mixture(luminance, wanted, alike)
    assert 1.05 * start < found.even <= bound.percent
    again = float(wanted.evenness((found.level @ luminance)[None])[0])
    assert found.even == pytest.approx(again)
    assert found.level.max() == pytest.approx(1.0)
    random = rng.random((4000, 30)) ** 4 @ luminance
    assert found.even > wanted.evenness(random).max()


def test_two_lights_alone_are_mixed_to_even():
    found = best_mixture(np.array([[2.0, 0.0], [0.0, 1.0]]), aim(2), np.ones(2))
    assert found.even == pytest.approx(1.0)
    assert found.level == pytest.approx([0.5, 1.0])
    assert found.count == 2


@pytest.mark.parametrize(
    ("even", "freed", "many", "wish", "words"),
    [
        (0.3, 0.35, 0.56, Wish(), "in place of 12 costs 0.21, driving them alike 0.05 (--levels"),
        (0.3, 0.3, 0.56, Wish(), "in place of 12 costs 0.26."),
        (0.3, 0.3, 0.56, Wish(free_levels=True), "in place of 12 costs 0.26."),
        (0.3, 0.3, 0.3, Wish(), "comes above 0.30. 4 boards reach that."),
        (0.3, 0.36, 0.36, Wish(), "4 boards reach that, but driving them alike costs 0.06 (--lev"),
        (0.3, 0.3, 0.5, Wish(first="power"), "4, placed for power first, in place of 12 costs 0.2"),
    ],
)
def test_the_parts_of_a_gap_are_said_in_numbers(even, freed, many, wish, words):
    level = np.ones(12)
    gap = Gap(even, freed, Mixture(many, level), Bound(0.9, 0.5, np.arange(12), level))
    said = bound_words(gap, 0.25, "round_7", 4, wish)
    assert "can beat 5%/mean 0.90" in said
    assert words in said
    assert "more lights won't help" in bound_words(gap, 0.95, "round_7", 4, wish)
    near = Gap(0.89, 0.89, Mixture(0.9, level), Bound(0.9, 0.5, np.arange(12), level))
    assert "nothing left to gain" in bound_words(near, 0.25, "round_7", 4, wish)


def test_the_figure_placed_by_is_that_of_the_findings_and_its_slope_is_true():
    rng = np.random.default_rng(6)
    values, area = rng.random((5, 60)) ** 2, rng.random(60) + 0.5
    for row, j in zip(values, uneven(values, area), strict=True):
        assert np.exp(np.sqrt(j)) == pytest.approx(off_by(row, area), rel=1e-12)
        found, slope = uneven_slope(row, area)
        assert found == pytest.approx(j, rel=1e-12)
        way = rng.normal(size=60)
        there = [float(uneven((row + step * way)[None], area)[0]) for step in (1e-6, -1e-6)]
        assert (there[0] - there[1]) / 2e-6 == pytest.approx(float(slope @ way), rel=1e-4)


def test_no_mixture_is_off_by_less_than_the_bound_and_some_nearly_is():
    rng = np.random.default_rng(4)
    luminance = rng.random((12, 30)) ** 3
    wanted = aim(30)
    found = bound_of(luminance, wanted)
    mixtures = rng.exponential(size=(3000, 12)) ** 3 @ luminance
    assert wanted.off_by(mixtures, sharp=False).min() >= found.off_by - 1e-9
    # One patch for each site: even together.
    assert bound_of(np.eye(30), wanted).off_by == pytest.approx(1.0, abs=1e-3)
    # Two patches that no site tells apart, 1 to 3: x = 0.5 and 1.5.
    pair = np.array([[1.0, 3.0], [2.0, 6.0]])
    exact = np.exp(np.sqrt(0.25 * np.log(1.501 / 0.501)))
    assert bound_of(pair, aim(2)).off_by == pytest.approx(exact, rel=1e-3)
