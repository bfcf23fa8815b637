"""The demo scenes: what is found against 2,000 random placements and against the bound."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from glowsim.decisions.objective import Wish
from glowsim.decisions.placer import Placer, pattern_light
from glowsim.decisions.polish import site_luminance
from glowsim.decisions.response import SURE_RAYS, Responses
from glowsim.decisions.sites import Sites, candidates
from glowsim.scene import Placing, read_scene
from glowsim.transport.plan import plan_of

SCENES = Path(__file__).parents[2] / "scenes"
POOL = 400


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize(
    ("name", "body", "board", "count"),
    [
        ("thistle_staff", 0, "rgb_5050_18ma", 4),
        ("moon_orb", 0, "rgb_5050_18ma", 2),
        pytest.param(
            *("reed_blade", 0, "rgb_5050_18ma", 4),
            marks=pytest.mark.xfail(
                reason="open: 5 %/mean is 2e-6 on the dark blade, where it no longer tells which "
                "of two placements is better; two boards at own levels come to 1e-5"
            ),
        ),
        ("geode_shoulder", 1, "rgb_5050_18ma", 2),
    ],
)
def test_as_even_as_the_best_of_2000_random_placements(name, body, board, count):
    plan = plan_of(read_scene(SCENES / f"{name}.toml"))
    responses = Responses(plan, body)
    light = pattern_light(plan, body, board)
    found = Placer(plan, body, responses, light, Placing(), Wish(directions="keep"))
    placement, predicted = found.place(count)
    # Random places are not those of the net: shifted off it, each read with many rays.
    rng = np.random.default_rng(5)
    net = candidates(found.allowed, np.unique(found.sites.poses.direction, axis=0), POOL)
    shift = rng.uniform(-0.5, 0.5, net.poses.position.shape) * net.step_mm
    moved = type(net.poses)(net.poses.position + shift, net.poses.direction)
    moved = moved.at(np.nonzero(found.allowed.allows(moved))[0])
    sites = Sites(moved, np.arange(len(moved)), net.step_mm)
    rows = site_luminance(responses, found.kind, found.allowed, sites, SURE_RAYS // 4)
    chosen = rng.integers(0, len(sites), (2000, count))
    random = found.aim.evenness(rows[chosen].sum(axis=1))
    mine = float(found.aim.evenness(placement.luminance[None])[0])
    bound = found.bound
    print(
        f"\n{name}: {count} boards {mine:.4f} (predicted {predicted:.4f}), best of 2000 random "
        f"{random.max():.4f}, bound {bound.percent:.4f}"
    )
    assert mine >= random.max()
    # Short of the bound by more than 5 % only by what is said to be the cause: fewer boards than
    # the best mixture found, levels alike, or a bound that no mixture found comes near.
    gap = found.gap(placement, mine)
    print(
        f"  mixture {gap.mixture.even:.4f} of {gap.mixture.count} boards, "
        f"levels freed {gap.freed:.4f}"
    )
    assert mine <= gap.freed <= bound.percent
    assert gap.mixture.even <= bound.percent
    near = mine >= 0.95 * max(gap.mixture.even, gap.freed)
    assert near or gap.mixture.count > count or gap.freed > 1.01 * mine
