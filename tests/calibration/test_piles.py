"""Piles and card against adding-doubling, Monte Carlo, and tables of other people's samples."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.calibration.card import CardSeries
from glowsim.calibration.fit import Prior, fit
from glowsim.calibration.forward import Optics
from glowsim.calibration.piles import PileSeries, pile_signal
from glowsim.calibration.readings import Card, Piles
from glowsim.optics.hole import hole_share
from tests.support.bodies import body, emitters, medium
from tests.support.doubling import adding_doubling
from tests.support.slabs import BEAM, block
from tests.support.solvers import reference

ENDLESS = 10_000.0
"""Diameter of a hole that stands for none [mm]."""


def piles(thickness, reading, bare=1.0, hole=ENDLESS, **errors):
    return PileSeries(
        Piles(
            band="green", hole_diameter_mm=hole, thickness_mm=tuple(thickness),
            reading=tuple(map(float, reading)), bare=bare, **errors,
        ),
        "piles",
    )  # fmt: skip


def card(reflectance, thickness=10_000.0, **errors):
    one = Card(
        band="green", thickness_mm=thickness, piece=(float(reflectance),), paper=(1.0,),
        paper_reflectance=1.0, **errors,
    )  # fmt: skip
    return CardSeries(one, "card")


def prior(mu_a, mu_s, n=1.49, g=0.8, factor=3.0):
    return Prior(Optics(mu_a, mu_s, g, n), np.log(np.array([factor, factor])))


@pytest.mark.parametrize(
    ("hole", "mu_a", "mu_s", "n", "thickness", "share"),
    [
        (40, 0.0022, 0.4, 1.0, (10, 20, 30, 40, 50), (0.96, 0.75, 0.54, 0.40, 0.31)),
        (80, 0.0022, 0.4, 1.0, (10, 20, 30, 40, 50), (1.0, 0.98, 0.91, 0.82, 0.73)),
        (40, 0.0036, 0.411, 1.53, (5, 10, 15, 20, 25), (0.97, 0.89, 0.79, 0.68, 0.58)),
        (40, 0.0063, 9.0, 1.46, (0.8, 2.4, 4), (1.0, 1.0, 1.0)),
    ],
)
def test_share_of_a_hole(hole, mu_a, mu_s, n, thickness, share):
    """Against a plain Monte Carlo run made for the purpose, within 1.6 % (foam) or its digits."""
    for d, known in zip(thickness, share, strict=True):
        found = hole_share(
            hole_radius_mm=hole / 2, thickness_mm=d, mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s, n=n
        )
        assert found == pytest.approx(known, rel=0.016, abs=0.006)


@pytest.mark.slow
@pytest.mark.parametrize(("thickness", "photons"), [(10.0, 60_000), (30.0, 250_000)])
def test_piles_over_a_hole_by_the_reference(thickness, photons):
    """A pencil beam, and what leaves below within a hole's radius of it: by translation that is
    what the middle sees of an even beam through the hole."""
    mu_a, mu_s, g, radius = 0.0022, 0.4, 0.65, 20.0
    wide = block(10 * radius, thickness, 0.0)
    beam = emitters([[0.013, 0.007, thickness - 1e-4]], direction=(0, 0, -1), exponent=BEAM)
    problem = body(wide, [medium(mu_a, mu_s, g, 1.0)], beam, cell_mm=thickness / 3, face_mm=4.0)
    leaving = reference(problem, photons)
    triangles = problem.walls.triangles[problem.skin]
    below = triangles[:, :, 2].max(axis=1) < 1e-6
    middle = np.linalg.norm(triangles.mean(axis=1)[:, :2], axis=1) < radius
    share = leaving.leaves(below & middle)
    series = piles([thickness], [0.1], hole=2 * radius)
    expected = float(np.exp(pile_signal(series.piles, Optics(mu_a, mu_s, g, 1.0))[0]))
    assert share.agrees(expected, within=0.03)


def test_slabs_by_adding_doubling():
    """R and T of four materials (n = 1.49, g = 0.8) by iadpython 0.5.3, as computed once."""
    table = {
        (0.002, 1.0): [(1, 0.397, 0.595), (3, 0.559, 0.414), (6, 0.665, 0.281)],
        (0.02, 5.0): [(1, 0.616, 0.297), (3, 0.709, 0.088), (6, 0.719, 0.017)],
        (0.1, 5.0): [(1, 0.488, 0.192), (3, 0.505, 0.016)],
        (0.01, 15.0): [(1, 0.808, 0.147), (3, 0.866, 0.032)],
    }
    for (mu_a, mu_s), rows in table.items():
        optics = Optics(mu_a, mu_s, 0.8, 1.49)
        for thickness, reflects, transmits in rows:
            series = piles([thickness], [0.1])
            assert np.exp(series.foreseen(optics).value[0]) == pytest.approx(
                transmits, rel=0.03, abs=6e-4
            )
            back = np.exp(card(0.5, thickness).foreseen(optics).value[0])
            assert 1 - back == pytest.approx(1 - reflects, rel=0.03)


VALLEY = [  # mu_a, mu_s', T(12 mm), R(3 mm): all let 0.300 through 3 mm (adding-doubling, n 1.49)
    (0.0001, 2.057, 0.108, 0.699),
    (0.005, 1.731, 0.059, 0.634),
    (0.02, 1.117, 0.028, 0.477),
]


@pytest.mark.parametrize(("mu_a", "mu_s", "through", "back"), VALLEY)
def test_one_transmittance_is_a_valley(mu_a, mu_s, through, back):
    """Published non-uniqueness, as computed by adding-doubling: one T fixes neither."""
    one = piles([3.0], [0.300])
    wide = prior(0.005, 1.7, factor=4.0)
    fitted = fit([one], wide)
    assert fitted.sd[0] > 0.8 * wide.sd[0]
    # Every member of the family lies in what the fit calls likely.
    away = np.log([mu_a, mu_s]) - fitted.optics.logarithms
    assert one.foreseen(Optics(mu_a, mu_s, 0.8, 1.49)).value[0] == pytest.approx(
        np.log(0.3), abs=0.05
    )
    inside = away @ np.linalg.inv(fitted.covariance) @ away
    assert mu_a < 0.001 or inside < 6.0
    # A thick piece or a reflectance tells them apart.
    both = fit([one, piles([12.0], [through])], prior(0.005, 1.7, factor=4.0))
    assert mu_a < 0.001 or abs(np.log(both.optics.mu_a_per_mm / mu_a)) < 2 * both.sd[0]
    assert mu_a < 0.001 or both.sd[0] < 0.6 * fitted.sd[0]


@pytest.mark.parametrize(
    ("mu_a", "mu_s", "thickness", "sd"),
    [
        (0.01, 1.0, (2, 4, 8, 16), (0.19, 0.13)),
        (0.02, 5.0, (2, 4, 8, 16), (0.08, 0.07)),
        (0.02, 5.0, (1, 3, 6), (0.16, 0.10)),
    ],
)
def test_what_thicknesses_can_tell(mu_a, mu_s, thickness, sd):
    """The Fisher bound of T good to 5 %, by adding-doubling: a ridge of correlation near -1."""
    series = piles(thickness, np.geomspace(0.3, 0.01, len(thickness)))
    slope = series.foreseen(Optics(mu_a, mu_s, 0.8, 1.49)).slope
    covariance = 0.05**2 * np.linalg.inv(slope.T @ slope)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(sd, rel=0.15)
    assert covariance[0, 1] / np.sqrt(np.prod(np.diag(covariance))) < -0.9


@pytest.mark.parametrize("seed", range(20))
def test_twenty_random_slabs(seed):
    """Readings by adding-doubling without noise: back comes what went in, within two stated
    deviations, and within 12 % where five piles, bare reading and card were read."""
    rng = np.random.default_rng(seed)
    mu_s = float(np.exp(rng.uniform(np.log(0.2), np.log(8.0))))
    mu_a = mu_s * float(np.exp(rng.uniform(np.log(1e-3), np.log(0.03))))
    n, g = float(rng.uniform(1.0, 1.55)), float(rng.uniform(0.6, 0.85))
    thickness = np.array([2.0, 5.0, 10.0]) / mu_s
    through = [adding_doubling(mu_a, mu_s, g, n, d)[1] for d in thickness]
    back, _ = adding_doubling(mu_a, mu_s, g, n, 10_000.0 / mu_s)
    start = mu_a * float(np.exp(rng.normal(0, 0.8))), mu_s * float(np.exp(rng.normal(0, 0.5)))
    exact = {"reading_error": 0.01, "thickness_error": 0.005, "bare_error": 0.01}
    fitted = fit(
        [
            piles(thickness, through, **exact),
            card(back, 10_000.0 / mu_s, reading_error=0.01, paper_error=0.01),
        ],
        prior(*start, n=n, g=g),
    )
    off = fitted.optics.logarithms - np.log([mu_a, mu_s])
    assert (np.abs(off) < 2 * fitted.sd).all()
    assert (np.abs(off) < 0.12).all()
    assert fitted.chance > 0.05
