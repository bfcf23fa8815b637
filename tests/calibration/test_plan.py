"""What to read next: expected gains against what fits of such readings then say."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.calibration import plan
from glowsim.calibration.fit import Prior, fit
from glowsim.calibration.learn import UNKNOWN, learn
from glowsim.calibration.lit_rod import rod_of, rod_readings
from glowsim.calibration.piles import PileSeries, pile_signal
from glowsim.calibration.readings import Piles
from glowsim.catalogue import load_catalogue
from tests.support.readings import file_of, piles

FOAM = load_catalogue().material("upholstery_foam_white")
OPTICS = plan.optics_of(FOAM)
DECAY = plan.decay_question(OPTICS)


def every_gain():
    return plan.gains(OPTICS, plan.known_of(FOAM, {}), DECAY)


def gain(words):
    return next(one for one in every_gain() if one.candidate.words.startswith(words))


def over_a_hole(*heights, **errors) -> Piles:
    return Piles(
        band="green", hole_diameter_mm=40, thickness_mm=heights, bare=1.0,
        reading=tuple(np.linspace(0.9, 0.1, len(heights)).tolist()), **errors,
    )  # fmt: skip


def test_an_expected_gain_is_what_the_fit_then_says():
    thin, _, thick, _ = plan.thicknesses_mm(OPTICS[1])
    read = np.exp(pile_signal(over_a_hole(thin, thick), OPTICS[1]))
    fitted = (
        learn(file_of(piles((thin, thick), read, more="height_error_mm = 0.5"))).bands[0].fitted
    )
    sd = float(np.sqrt(DECAY[1] @ fitted.covariance @ DECAY[1]))
    expected = gain(f"piles of {thin:g} and {thick:g} mm over a hole, and the bare hole")
    assert expected.after == pytest.approx(sd, rel=0.1)
    assert expected.before == pytest.approx(
        np.sqrt(DECAY[1] ** 2 @ np.diag(FOAM.covariance[1])), 0.01
    )


def test_the_facts_of_the_trade_come_out():
    """Two piles find how far light reaches, paper alone does not, both together tell most; the
    catalogue leaves a factor, five minutes 7 % in foam, seven minutes 2.5 % (linear theory)."""
    before = gain("both").before
    assert gain("a thick piece").after > 0.8 * before
    assert gain("piles").after < 0.3 * before
    few, four = (one for one in every_gain() if one.candidate.words.startswith("both"))
    assert sorted([few.after, four.after]) == pytest.approx([0.025, 0.07], abs=0.005)
    assert plan.percent(before).startswith("a factor")


BENCH = {
    "red foam": ("upholstery_foam_white", 0),
    "green foam": ("upholstery_foam_white", 1),
    "blue foam": ("upholstery_foam_white", 2),
    "resin": ("milky_resin_medium", 1),
    "red print": ("pla_white", 0),
    "green print": ("pla_white", 1),
}


@pytest.mark.parametrize("which", BENCH)
def test_the_protocol_brings_what_it_is_for(which):
    """Card, four piles each measured as it lies, and the bare hole: the length in which light falls
    to 4 %, mu_a to 25 %, mu_s' to 13.5 %, by a fit of readings that the formula foresees.
    Sheets added up, good to 2 % each, do not bring the length."""
    material = load_catalogue().material(BENCH[which][0])
    every = plan.optics_of(material)
    optics = every[BENCH[which][1]]
    prior = Prior(optics, np.sqrt(np.diag(material.covariance[BENCH[which][1]])))
    protocol = plan.candidates(every)[-1].series[BENCH[which][1]]

    def known(**errors) -> tuple[float, np.ndarray]:
        series = [
            PileSeries(one.piles.model_copy(update=errors), one.name)
            if isinstance(one, PileSeries) else one for one in protocol
        ]  # fmt: skip
        for one in series:
            object.__setattr__(one, "measured", one.foreseen(optics).value)
        fitted = fit(series, prior)
        slope = plan.decay_question([fitted.optics] * 3)[1]
        return float(np.sqrt(slope @ fitted.covariance @ slope)), fitted.sd

    length, sd = known()
    assert length < 0.04
    assert (sd < (0.25, 0.135)).all()
    assert known(height_error_mm=None, thickness_error=0.02)[0] > max(0.037, 1.3 * length)


@pytest.mark.slow
def test_a_photo_of_a_lit_rod_finds_cloudiness_and_not_absorption():
    """As fits of a photo alone say, and worth less than piles; with paper both are found."""
    photo, meter, both = rod_readings(OPTICS)
    known = plan.known_of(FOAM, {})
    after = {one.candidate: one for one in plan.gains(OPTICS, known, DECAY, [photo, meter, both])}
    assert gain("piles").after < after[photo].after < 0.7 * after[photo].before
    assert after[both].after < after[photo].after
    assert gain("piles").after < after[meter].after
    for coefficient, learnt in ((0, False), (1, True)):
        alone = np.zeros((3, 2))
        alone[1, coefficient] = 1.0
        (one,) = (g for g in plan.gains(OPTICS, known, alone, [photo]) if g.candidate is photo)
        assert (one.after < UNKNOWN * one.before) == learnt


def test_a_tube_is_lit_of_what_is_dense_and_nothing_of_what_is_clear():
    print_ = rod_of(plan.optics_of(load_catalogue().material("pla_white"))[1])
    assert print_.words == "a closed tube 30 mm thick and 60 mm long with a wall of 3 mm"
    assert rod_of(OPTICS[1]).wall_mm is None
    assert rod_of(plan.Optics(0.001, 0.05, 0.8, 1.5)) is None


def test_a_pile_that_lets_too_little_through_is_not_reckoned_with():
    """85 mm of foam in blue: 4e-5 of the bare light."""
    four = plan.candidates(OPTICS)[3].series
    assert [len(one.measured) for (one,) in four] == [4, 4, 3]


def test_what_is_known_well_is_not_read_again():
    sharp = plan.known_of(FOAM, {"green": 0.01**2 * np.eye(2)})
    assert not any(one.worth for one in plan.gains(OPTICS, sharp, DECAY))


@pytest.mark.parametrize("name", ["milky_resin_medium", "pla_white"])
def test_piles_suit_the_material(name):
    every = plan.optics_of(load_catalogue().material(name))
    thin, middle, thick, most = plan.thicknesses_mm(every[1])
    assert 0.8 <= thin < middle < thick <= 60
    assert thick < most <= 100
