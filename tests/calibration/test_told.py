"""What photons tell that the quick solver is off along a lit piece."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.calibration.told import told_along, told_by
from tests.support.photo_intervals import PLACES, SORTS, SPAN, bright, photo_of


def test_what_is_told_is_off_by_what_is_left_in_doubt():
    """Errors of quick and of photons drawn as stated, some places next to dark: squared deviations
    of what is then said are those of what is left (chi-square of 12 over 2000 draws, 3 %)."""
    rng = np.random.default_rng(3)
    apart = np.subtract.outer(np.arange(12.0), np.arange(12.0))
    quick = 0.06**2 * np.exp(-0.5 * (apart / 3.0) ** 2) + 0.01**2 * np.eye(12)
    sd = np.where(np.arange(12) % 3, 0.03, 0.5)
    found = []
    for off in rng.multivariate_normal(np.zeros(12), quick, 2000):
        light = np.exp(off) * (1.0 + sd * rng.normal(size=12))
        said, left = told_by((light, (sd * np.exp(off)) ** 2), np.eye(12), np.zeros(12), quick)
        found.append((said - off) @ np.linalg.solve(left, said - off) / 12)
    assert np.mean(found) == pytest.approx(1.0, abs=0.03)
    assert np.sqrt(np.diag(left)).max() < 0.04


def test_no_photons_tell_nothing():
    quick = np.diag([0.01, 0.04])
    off, left = told_by((np.zeros(3), np.zeros(3)), np.ones((2, 3)), np.zeros(2), quick)
    assert not off.any()
    assert (left == quick).all()


@pytest.mark.slow
def test_photons_mend_how_light_falls_along_a_rod_of_resin(monkeypatch):
    """By quick it falls 6 % more than by the reference with other photons and all of the ring."""
    monkeypatch.setattr("glowsim.calibration.told.WORK", 2e7)
    sort = SORTS["resin"]
    piece, truth = sort.piece(), sort.truth(0)
    piece.sharpen(truth)
    flat = photo_of(piece, np.linspace(2.0, 1.0, PLACES))
    level = bright(piece, truth, sort.photons)(np.linspace(*SPAN, PLACES))
    off = level - flat.foreseen(truth).value
    told, left = told_along(piece, flat.weights, truth)
    fall = np.polyfit(np.linspace(-0.5, 0.5, PLACES), np.column_stack([off, off - told]), 1)[0]
    assert fall[0] > 0.05
    assert abs(fall[1]) < 0.03
    assert np.sqrt(np.diag(left)).max() < 0.03
