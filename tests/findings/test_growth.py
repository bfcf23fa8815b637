"""Findings of a glow drawn photon by photon: none that is not there, none lost that is clear."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import poisson

from glowsim.findings import findings_of
from glowsim.findings.growth import _kept_below, _reached
from glowsim.findings.luminance import looks_of
from glowsim.findings.patches import Eye
from glowsim.scene import Room, Thresholds
from tests.findings.glows import lit, photons
from tests.pictures.glows import scene_with

ROOM = Room(illuminance_lx=0.0, viewing_distance_mm=1500.0)
SPOTS = [(x, z) for z in (20.0, 60.0, 100.0) for x in (15.0, 45.0)]
NINTH_EMPTY = 2.4
"""Photons a face at which 11 % of the faces of the spotted plate get none."""


def eye_on(glow):
    (look,) = looks_of(glow, ROOM)
    return Eye(look, ROOM, Thresholds())


def even(x, z):
    return 100.0 + 0 * x


def spotted(x, z):
    """Six spots of four to seven times the plate; between them it lies near the limit for gaps."""
    level = 100.0 + 0 * x
    for k, (u, v) in enumerate(SPOTS):
        level = level + (300 + 60 * k) * np.exp(-((x - u) ** 2 + (z - v) ** 2) / 2 / 5**2)
    return level


def dark_tip(x, z):
    return np.where(z > 90, 3.0, 100.0)


def false(eye, truth):
    """Return the findings that hold no face that is past a limit in truth."""
    real = truth.told
    limits = Thresholds()
    hot = (real.local > limits.hot_spot_ratio) | (real.whole > limits.whole_bright_ratio)
    dark = (real.local < limits.dark_gap_ratio) | (real.whole < limits.whole_dark_ratio)
    past = {"hot spot": hot, "dark gap": dark}
    return [p for p in eye.patches() if not past[p.kind][p.faces].any()]


def errs(seeds, per_face, brightness):
    """Return in how many runs of so many photons something is found that is not there."""
    truth = eye_on(lit(brightness))
    return sum(bool(false(eye_on(photons(brightness, per_face, s)), truth)) for s in seeds)


def test_chances_are_those_of_poisson():
    counts, expected = np.array([3.0, 9.0, 40.0]), np.array([5.0, 2.0, 31.5])
    np.testing.assert_allclose(_kept_below(counts, expected), poisson.cdf(counts, expected))
    np.testing.assert_allclose(_reached(counts, expected), poisson.sf(counts - 1, expected))


@pytest.mark.parametrize("per_face", [0.3, NINTH_EMPTY, 30.0])
def test_nothing_is_found_that_is_not_there(per_face):
    assert errs(range(4), per_face, even) == 0
    assert errs(range(4), per_face, spotted) == 0


@pytest.mark.slow
@pytest.mark.parametrize("brightness", [even, spotted, dark_tip])
def test_at_most_one_body_in_a_hundred_has_a_false_finding(brightness):
    """The rate that is stated (`noise.CHANCE`): of 80 runs more than four false ones have a
    chance of 0.1 % (binomial)."""
    runs = [errs(range(20), per_face, brightness) for per_face in (0.3, 1.0, NINTH_EMPTY, 20.0)]
    assert sum(runs) <= 4, runs


@pytest.mark.parametrize("seed", range(3))
def test_true_spots_are_kept_where_a_ninth_of_the_faces_is_empty(seed):
    glow = photons(spotted, NINTH_EMPTY, seed)
    empty = float((glow.bodies[0].diffuse[0, 1] == 0).mean())
    assert empty == pytest.approx(0.13, abs=0.03)
    found = eye_on(glow).patches()
    assert {patch.kind for patch in found} == {"hot spot"}
    places = np.array([patch.place_mm[[0, 2]] for patch in found])
    for spot in SPOTS[1:]:
        assert np.linalg.norm(places - spot, axis=1).min() < 8, f"the spot at {spot} is lost"


def test_a_dark_part_without_a_photon_is_found_and_its_error_is_not_nothing():
    glow = photons(lambda x, z: np.where(z > 90, 0.0, 100.0), NINTH_EMPTY, 1)
    (gap,) = eye_on(glow).patches()
    assert gap.kind == "dark gap"
    assert gap.from_mm == pytest.approx(90, abs=6)
    assert gap.to_mm == 120
    assert gap.noise_to_mean > 1e-3


def test_the_stated_errors_are_those_that_other_photons_show():
    """At the spot where they are; the ratios of twelve runs differ by what each of them says."""
    found = [eye_on(photons(spotted, 20.0, seed)).patches()[0] for seed in range(12)]
    ratios = np.array([patch.ratio_to_mean for patch in found])
    stated = np.mean([patch.noise_to_mean for patch in found])
    # The strongest of several faces is no plain draw; the spread of 12 is known to a fifth.
    assert 0.4 < ratios.std(ddof=1) / stated < 1.6


def test_more_photons_tell_more():
    width = [np.nanmedian(eye_on(photons(even, n, 1)).told.width_mm) for n in (0.5, 2.0, 40.0)]
    assert width[0] > width[1] > width[2]


def test_what_cannot_be_told_is_said():
    few = findings_of(photons(even, 0.02, 1), scene_with(room=ROOM))
    assert not few.found
    assert few.untold["plate"] > 0.5
    assert few.as_json()["untold"]["plate"] > 0.5
    assert "too few photons to tell hot spots" in str(few)
    assert findings_of(photons(even, 30.0, 1), scene_with(room=ROOM)).untold == {}
    assert findings_of(lit(even), scene_with(room=ROOM)).untold == {}
