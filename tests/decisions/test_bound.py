"""The bound on evenness: hand-made cases, and no mixture beats it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import sparse

from glowsim.decisions.bound import bound_of
from glowsim.decisions.objective import Aim, percentile


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
