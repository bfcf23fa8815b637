"""Errors of figures, extremes shifted by noise, findings within the noise."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import t as student_t

from glowsim.errors import SolveError
from glowsim.findings import findings_of
from glowsim.findings.evenness import evenness_of
from glowsim.findings.luminance import bright_noise, looks_of
from glowsim.findings.noise import SAMPLES, beyond_chance, check_known, noise_lm_mm2
from glowsim.findings.patches import Eye
from glowsim.scene import Room, Thresholds
from tests.findings.glows import lit
from tests.pictures.glows import scene_with

ROOM = Room(illuminance_lx=0.0, viewing_distance_mm=1500.0)
THREE_SIGMA = 3 / np.sqrt(2 * SAMPLES)
"""An error estimated from so many samples is known to 1 / sqrt(2 n)."""


def even(level, sigma, seed=1):
    return lit(lambda x, z: level, lambda x, z: sigma, seed=seed, solver="reference")


def look_of(glow):
    (look,) = looks_of(glow, ROOM)
    return look


def eye_of(glow):
    return Eye(look_of(glow), ROOM, Thresholds())


def patches(glow):
    return eye_of(glow).patches()


def test_bands_of_one_light_add_up_and_lights_do_not():
    glow = even(100.0, 10.0)
    body = glow.bodies[0]
    error = np.concatenate([body.error, body.error])
    error[:, 0] = error[:, 1]  # red as noisy as green, and a second light just as noisy
    two = replace(body, error=error, diffuse=np.concatenate([body.diffuse] * 2))
    source = glow.lights[0]
    glow = replace(
        glow,
        bodies=(two,),
        lights=(source, source),
        copies=(replace(glow.copies[0], lights=(0, 1)),),
    )
    one_band = body.error[0, 1]
    whole = noise_lm_mm2(glow, glow.copies[0])
    np.testing.assert_allclose(whole, 2 * np.sqrt(2) * one_band, rtol=1e-6)
    green = noise_lm_mm2(glow, glow.copies[0], 1)
    np.testing.assert_allclose(green, np.sqrt(2) * one_band, rtol=1e-6)


def test_a_face_without_photons_is_not_sure_to_be_dark():
    glow = even(100.0, 10.0)
    glow.bodies[0].error[0, 1, :7] = 0.0
    noise = noise_lm_mm2(glow, glow.copies[0])
    np.testing.assert_allclose(noise[:7], noise[7:].min(), rtol=1e-5)
    # One photon would make a sliver as bright as the sun; it is taken as uncertain by the mean.
    one_photon = even(100.0, 500.0)
    one_photon.bodies[0].error[0, 1, :7] = 0.0
    mean = one_photon.exitance_lm_mm2(one_photon.copies[0])[1].mean()
    np.testing.assert_allclose(noise_lm_mm2(one_photon, one_photon.copies[0])[:7], mean, rtol=1e-5)


def test_a_light_without_photons_adds_no_noise():
    glow = even(100.0, 10.0)
    glow.bodies[0].error[0, 0] = np.inf
    whole = noise_lm_mm2(glow, glow.copies[0])
    np.testing.assert_allclose(whole, glow.bodies[0].error[0, 1], rtol=1e-6)


def test_what_has_had_no_photon_is_never_judged():
    glow = even(100.0, 10.0)
    glow.bodies[0].error[0] = np.inf
    for judge in (lambda: looks_of(glow, ROOM), lambda: findings_of(glow, scene_with(room=ROOM))):
        with pytest.raises(SolveError, match=r"'plate' cannot be judged: of its 1 lights 'lamp'"):
            judge()
    (look,) = looks_of(glow.driven({"all": np.zeros(3)}), ROOM)
    assert not look.luminance_cd_m2.any(), "a light turned off need not be known"


@pytest.mark.parametrize(("count", "told"), [(3, "'c'"), (4, "'c' and 1 more")])
def test_the_first_three_lights_without_photons_are_named(count, told):
    lights = [SimpleNamespace(name=name) for name in "abcd"[:count]]
    glow = SimpleNamespace(
        bodies=[SimpleNamespace(name="ball", error=np.full((count, 3, 5), np.inf))],
        lights=lights,
        flux_lm=lambda copy: np.ones((count, 3)),
    )
    copy = SimpleNamespace(body=0, of="ball", lights=tuple(range(count)))
    with pytest.raises(SolveError, match=f"'a', 'b', {told} "):
        check_known(glow, copy)


def test_a_solver_without_noise_has_none():
    glow = lit(lambda x, z: 100.0 + x)
    assert noise_lm_mm2(glow, glow.copies[0]) is None
    figures = evenness_of(eye_of(glow))
    assert figures.noise is None
    assert figures.shifted == ()
    assert bright_noise(look_of(glow)) is None


def test_the_error_of_the_mean_is_what_sums_of_faces_have():
    figures = evenness_of(eye_of(even(100.0, 10.0)))
    faces = len(look_of(even(100.0, 10.0)).glows)  # all of one area
    assert figures.noise["mean_cd_m2"] == pytest.approx(10 / np.sqrt(faces), rel=THREE_SIGMA)
    assert abs(figures.mean_cd_m2 - 100) < 3 * 10 / np.sqrt(faces)


def test_errors_are_those_that_new_noise_shows():
    """The figures of forty independent plates spread by what one plate says."""
    one = evenness_of(eye_of(even(100.0, 10.0)))
    others = [evenness_of(eye_of(even(100.0, 10.0, seed=k))) for k in range(2, 42)]
    for name in ("mean_cd_m2", "p5_cd_m2", "median_cd_m2", "p95_cd_m2"):
        spread = np.std([getattr(other, name) for other in others])
        # Both sides are estimates: 24 and 40 samples.
        assert one.noise[name] == pytest.approx(spread, rel=3 * np.sqrt(1 / 48 + 1 / 80) * 1.5)


def test_extremes_of_noisy_faces_are_marked_as_shifted():
    noisy, calm = evenness_of(eye_of(even(100, 15))), evenness_of(eye_of(even(100, 0.1)))
    assert noisy.least_cd_m2 < 60  # though the plate is even
    assert {"least_cd_m2", "greatest_cd_m2", "u0", "variation"} <= set(noisy.shifted)
    assert "mean_cd_m2" not in noisy.shifted
    assert "median_cd_m2" not in noisy.shifted
    assert set(calm.shifted) <= {"variation"}  # of nothing, noise is all there is


def test_noise_of_the_bright_faces():
    glow = lit(lambda x, z: np.where(z < 60, 10.0, 100.0), lambda x, z: np.where(z < 60, 5.0, 3.0))
    assert bright_noise(look_of(glow)) == pytest.approx(0.03, rel=1e-4)

    # Some to 1 %, the others to 3 %: the root of the mean square, not the mean.
    def noise(x, z):
        return np.where(x < np.median(x), 1.0, 3.0)

    uneven = lit(lambda x, z: np.where(z < 60, 10.0, 100.0), noise)
    surface = uneven.bodies[0].surface
    x, _, z = surface.centroids.T
    share = np.average(x[z > 60] < np.median(x), weights=surface.areas_mm2[z > 60])
    squares = share * 0.01**2 + (1 - share) * 0.03**2
    assert bright_noise(look_of(uneven)) == pytest.approx(squares**0.5, rel=1e-4)
    assert 0.4 < share < 0.6


def test_faces_without_light_do_not_hide_the_noise_of_the_others():
    glow = lit(lambda x, z: np.where(z > 60, 100.0, 0.0), lambda x, z: 1.0, solver="reference")
    assert bright_noise(look_of(glow)) == pytest.approx(0.01, rel=0.2)


@pytest.mark.parametrize("seed", range(6))
def test_what_noise_alone_makes_is_not_found(seed):
    glow = even(100.0, 80.0, seed)
    assert patches(glow) == []
    without = replace(glow, bodies=(replace(glow.bodies[0], error=None),))
    assert patches(without), "so much noise makes patches"


@pytest.mark.parametrize("seed", range(3))
def test_what_stands_out_of_the_noise_is_found(seed):
    glow = lit(
        lambda x, z: 100 + 700 * np.exp(-((x - 30) ** 2 + (z - 60) ** 2) / 2 / 8**2),
        lambda x, z: 60.0 + 0 * x,
        seed=seed,
        solver="reference",
    )
    (spot,) = patches(glow)
    assert spot.kind == "hot spot"
    assert np.linalg.norm(spot.place_mm - [30, 0, 60]) < 10
    assert 0 < spot.noise < 0.2 * spot.ratio


def test_the_report_says_it():
    noisy = findings_of(even(100.0, 80.0), scene_with(room=ROOM))
    assert not noisy.found
    data = noisy.as_json()
    assert data["evenness"][0]["noise"]["mean_cd_m2"] > 0
    assert "least_cd_m2" in data["evenness"][0]["shifted"]
    assert data["noise"]["plate"] > 0.5


def test_how_far_chance_goes():
    """Of n numbers over their estimated errors, the farthest is beyond with the chance stated."""
    # For a single number it is Student's t, two-sided, of as many samples less one.
    assert beyond_chance(1) == pytest.approx(student_t.ppf(1 - 0.01 / 2, SAMPLES - 1))
    random = np.random.default_rng(5)
    limit = beyond_chance(100)
    beyond = []
    for _ in range(4000):
        error = random.standard_normal((SAMPLES, 100)).std(axis=0, ddof=1)
        beyond.append(bool((np.abs(random.standard_normal(100)) > limit * error).any()))
    assert np.mean(beyond) == pytest.approx(0.01, abs=3 * np.sqrt(0.01 / 4000))
