"""The fit: its intervals hold, and readings that do not belong are named and not averaged in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from glowsim.calibration.bench import prior_of
from glowsim.calibration.card import card_signal
from glowsim.calibration.entry import entry_toml
from glowsim.calibration.fit import Fitted, apart, fit
from glowsim.calibration.forward import Doubts, Foreseen, Optics
from glowsim.calibration.learn import learn
from glowsim.calibration.piles import pile_signal
from glowsim.calibration.readings import Card, Piles
from glowsim.calibration.words import lines_of, tenth_mm
from glowsim.catalogue import load_catalogue
from glowsim.errors import ReadingsError
from tests.support.readings import card, file_of, piles

FOAM = Optics(0.0022, 0.4, 0.65, 1.0)
"""The catalogue's white upholstery foam in green."""
THICKNESS = (10.0, 30.0, 50.0)


def through(optics, thickness=THICKNESS):
    one = Piles(
        band="green",
        hole_diameter_mm=40,
        thickness_mm=thickness,
        reading=tuple(np.linspace(0.9, 0.1, len(thickness)).tolist()),
        bare=1.0,
    )
    return np.exp(pile_signal(one, optics))


def back(optics):
    one = Card(band="green", thickness_mm=100, piece=(0.5,), paper=(1.0,))
    return float(np.exp(card_signal(one, optics)[0]))


def on_the_bench(rng: np.random.Generator) -> tuple[Optics, Fitted]:
    """Return a foam drawn from the catalogue's range, and what bench readings of it say.

    The errors are not the fit's own: even instead of normal, light from the side, ruler rounded to
    half a millimetre, a meter that is not quite linear, other g and index.
    """
    truth = FOAM.at(FOAM.logarithms + rng.normal(0, [0.9, 0.65]))
    seen = Optics(
        truth.mu_a_per_mm,
        truth.mu_s_reduced_per_mm,
        rng.uniform(0.5, 0.8),
        1.0 + rng.uniform(0.0, 0.03),
    )
    real = np.array(THICKNESS) * rng.uniform(0.95, 1.05) + rng.uniform(-0.5, 0.5, 3)
    read = through(seen, tuple(real.tolist())) * rng.uniform(0.95, 1.05, 3) + 2e-5
    read = read ** rng.uniform(0.99, 1.01)
    bare = rng.uniform(0.88, 1.12)
    shown = min(back(seen) * rng.uniform(0.92, 1.08), 0.98)
    file = file_of(piles(THICKNESS, read, bare=bare), card(shown))
    return truth, learn(file).bands[0].fitted


def coverage(repeats: int) -> tuple[np.ndarray, np.ndarray]:
    """Return how often one deviation holds, and the mean error in deviations, for each."""
    off = []
    for seed in range(repeats):
        truth, fitted = on_the_bench(np.random.default_rng(seed))
        off.append((fitted.optics.logarithms - truth.logarithms) / fitted.sd)
    inside = np.abs(np.array(off)) < 1
    return inside.mean(axis=0), np.array(off).mean(axis=0)


def test_intervals_hold_roughly():
    share, bias = coverage(6)
    assert (share >= 0.3).all()
    assert (np.abs(bias) < 1.0).all()


@pytest.mark.slow
@pytest.mark.xfail(reason="open: intervals of 68 % hold in 85 % of 48 repeats; 80 at most wanted")
def test_intervals_hold():
    """68 % intervals hold in 55 to 80 % of 48 repeats, bias under half a deviation."""
    share, bias = coverage(48)
    print(share, bias)
    assert (share >= 0.55).all()
    assert (share <= 0.80).all()
    assert (np.abs(bias) < 0.5).all()


@dataclass
class LinearSeries:
    """Signals that are linear in the logarithms, with known noise."""

    slope: np.ndarray
    measured: np.ndarray
    name: str = "line"
    labels: tuple[str, ...] = ("a", "b")
    profile: bool = True
    noise = 0.1

    @classmethod
    def drawn(cls, rng, truth, slope):
        return cls(slope, slope @ truth + rng.normal(0, cls.noise, len(slope)))

    def foreseen(self, optics):
        return Foreseen(self.slope @ optics.logarithms, self.slope)

    def doubts(self, optics):
        return Doubts(np.eye(len(self.slope)) * self.noise**2)

    def cautions(self, optics):
        return ()


def green(*tables):
    return learn(file_of(*tables))


def test_piles_and_bare_tell_both():
    one = green(piles(THICKNESS, through(FOAM))).bands[0]
    assert one.fitted.optics.logarithms == pytest.approx(FOAM.logarithms, abs=0.03)
    assert one.fitted.sd[1] < 0.17
    assert one.fitted.sd[0] < 0.35
    value, low, high = tenth_mm(one)
    assert low < np.log(10) / FOAM.decay_per_mm < high
    assert high / low < 1.3
    assert value == pytest.approx(np.log(10) / FOAM.decay_per_mm, rel=0.02)


def test_ratios_alone_leave_a_valley_and_say_what_would_tell():
    learnt = green(piles(THICKNESS, through(FOAM), bare=None))
    one = learnt.bands[0]
    assert one.fitted.correlation < -0.9
    assert not (one.knows(0) and one.knows(1))
    words = " ".join(lines_of(learnt))
    assert "hardly known" in words
    assert "beside white paper" in words


def test_a_pile_that_does_not_belong_is_named_and_nothing_is_saved():
    five = (10.0, 20.0, 30.0, 40.0, 50.0)
    read = through(FOAM, five) * np.array([1, 1, 1.5, 1, 1])
    learnt = green(piles(five, read))
    assert any("'piles: 30 mm' is brighter" in alarm for alarm in learnt.alarms)
    with pytest.raises(ReadingsError, match="nothing is saved"):
        entry_toml(learnt)


def test_a_card_and_piles_of_different_foams_ring():
    other = FOAM.at(FOAM.logarithms + np.array((2.0, -0.5)))
    learnt = green(piles(THICKNESS, through(FOAM)), card(back(other)))
    assert any("another material" in alarm for alarm in learnt.alarms)


def test_sound_readings_ring_nothing():
    learnt = green(piles(THICKNESS, through(FOAM)), card(back(FOAM)))
    assert learnt.alarms == ()
    assert learnt.cautions == ()


def test_two_fits_of_one_material_are_not_apart_and_of_two_are():
    """The covariance of the difference, by 200 drawn pairs: 5 % of them are apart at 5 %."""
    prior = prior_of(load_catalogue().material("upholstery_foam_white"), 1)
    rng = np.random.default_rng(5)
    ringing = 0
    for _ in range(200):
        truth = prior.optics.logarithms + rng.normal(0, prior.sd)
        halves = [
            fit([LinearSeries.drawn(rng, truth, slope)], prior)
            for slope in (np.array([[1.0, 0.2], [0.3, 0.1]]), np.array([[0.5, 0.5], [0.1, 1.0]]))
        ]
        ringing += apart(*halves) < 0.05
    assert 3 <= ringing <= 20
