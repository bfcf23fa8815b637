"""Estimates behind suggestions, on a ball whose light follows the fitted law exactly."""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.findings import suggest
from glowsim.findings.suggest import _falloff, _Trial
from tests.support.meshes import ball, mesh_of

FALL_PER_MM, NEAR, EVERYWHERE = float(suggest._FALLS_PER_MM[12]), 900.0, 0.05
MOVES_MM = (2, 4, 8, 12, 18, 26, 36, 50)
MORE_MM = (1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20)
LIMITS = SimpleNamespace(whole_bright_ratio=1.5)


def law(points, leds):
    """The law of the fit, written anew."""
    away = np.linalg.norm(points[:, None] - np.asarray(leds, dtype=float), axis=2)
    return NEAR * (np.exp(-FALL_PER_MM * away) / away**2).sum(axis=1) + EVERYWHERE


def eye_of(radius_mm, leds, *, level=1.0):
    """A ball as the eye sees it, each LED a light of its own; level : of all of its light."""
    surface = mesh_of(ball(radius_mm, 3))
    leds = np.array(leds, dtype=float)
    per_light = level * np.array([law(surface.centroids, led[None]) for led in leds])
    body = SimpleNamespace(
        surface=surface,
        led_mm=leds,
        led_light=np.arange(len(leds)),
        light_mm=leds,
        light_count=len(leds),
        account=SimpleNamespace(regions=("foam",)),
    )
    look = SimpleNamespace(
        body=body, per_light_cd_m2=per_light, glows=np.ones(len(surface.faces), bool)
    )
    faces = np.arange(len(surface.faces))
    return SimpleNamespace(
        look=look,
        limits=LIMITS,
        patchwork=SimpleNamespace(faces=faces, area=surface.areas_mm2),
        wanted=np.ones(len(faces)),
        seen_cd_m2=per_light.sum(axis=0),
    )


def trial(eye, kind="hot spot", beyond_mm=np.inf):
    """What may mend a patch of light 0: of the faces beyond a place along x."""
    faces = np.flatnonzero(eye.look.body.surface.centroids[:, 0] > beyond_mm)
    return _Trial(SimpleNamespace(kind=kind, light=0, faces=faces, size_mm=20.0), eye)


def over_mean(eye, seen):
    area = eye.patchwork.area
    return seen / (area @ seen / area.sum())


def test_the_law_is_found_again():
    found = _falloff(eye_of(30, [(9, 0, 0)]).look, 0)
    assert found.fall_per_mm == FALL_PER_MM
    assert (found.near, found.everywhere) == pytest.approx((NEAR, EVERYWHERE), rel=1e-6)


def test_dim_faces_count_as_much_as_bright_ones():
    """Where all faces are as far, only the mean is left to fit: weighted by area over brightness
    it is the harmonic one."""
    eye = eye_of(30, [(0, 0, 0)])
    surface = eye.look.body.surface
    bright = np.where(surface.centroids[:, 2] > 5, 8.0, 1.0)
    eye.look.per_light_cd_m2 = bright[None]
    area = surface.areas_mm2
    found = _falloff(eye.look, 0).at(surface.centroids, np.zeros((1, 3)))
    assert area @ found / area.sum() == pytest.approx(area.sum() / (area / bright).sum(), rel=0.01)


@pytest.mark.parametrize("off_mm", MOVES_MM)
def test_a_light_goes_back_to_the_middle(off_mm):
    eye = eye_of(70, [(0, off_mm, 0)])
    moved = trial(eye).move()
    assert f"move the light about {off_mm:.0f} mm sideways (-y)" in moved.words
    np.testing.assert_allclose(moved.place_mm, 0.0, atol=1e-9)
    assert moved.ideas[0].mm == (0.0, -off_mm, 0.0)
    now, then = map(float, re.findall(r"from ([\d.]+) to about ([\d.]+) times", moved.words)[0])
    assert now == pytest.approx(over_mean(eye, eye.seen_cd_m2).max(), rel=0.05)
    assert then == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("off_mm", [0.0, 20.0])
def test_no_light_is_moved_to_less_than_5_mm_or_its_own_depth_below_the_surface(
    monkeypatch, off_mm
):
    tried = []
    monkeypatch.setattr(_Trial, "_best", lambda self, steps: tried.append(len(steps)))
    place = np.array([off_mm, 0.0, 0.0])
    assert trial(eye_of(30, [place])).move() is None
    ways = np.vstack([np.eye(3), -np.eye(3)])
    places = place + (ways[:, None] * np.array(MOVES_MM)[None, :, None]).reshape(-1, 3)
    # A ball of many faces is up to 0.3 mm shallower than a true one; no step is that near.
    depth = 30 - np.linalg.norm(places, axis=1)
    assert (np.abs(depth - min(30 - off_mm, 5)) > 0.3).all()
    assert tried == [np.count_nonzero(depth > min(30 - off_mm, 5))]


@pytest.mark.parametrize("off_mm", [8, 12, 20, 23, 25, 26.5])
def test_just_as_much_material_as_is_needed(off_mm):
    eye = eye_of(30, [(off_mm, 0, 0)])
    (idea,) = trial(eye).thicker().ideas
    surface = eye.look.body.surface
    peaks = [
        over_mean(eye, law(surface.centroids + more * surface.normals, [(off_mm, 0, 0)])).max()
        for more in (0.0, *MORE_MM)
    ]
    goal = 1 + 0.75 * (peaks[0] - 1)
    print(idea.amount)
    assert idea.does == "around"
    assert idea.amount == MORE_MM[int(np.argmax(np.array(peaks[1:]) < goal))]


def test_how_bright_all_is_does_not_matter():
    told = [
        (trial(eye_of(30, [(12, 0, 0)], level=level)).move().words) for level in (1.0, 1e-4, 1e4)
    ]
    assert len(set(told)) == 1


def test_a_spot_is_looked_for_where_its_own_light_is_the_nearest():
    leds = np.array([(-8.0, 0, 0), (30.0, 0, 0), (0, -30.0, 0)])
    eye = eye_of(40, leds)
    away = np.linalg.norm(eye.look.body.surface.centroids[:, None] - leds, axis=2)
    ratio = over_mean(eye, eye.seen_cd_m2)
    own = away.argmin(axis=1) == 0
    assert ratio.max() > 2 * ratio[own].max()
    assert trial(eye)._now == pytest.approx(ratio[own].max(), rel=1e-9)


def test_another_light_fills_a_gap_and_is_no_spot():
    leds = [(-22, 0, 0)]
    eye = eye_of(40, leds)
    found = trial(eye, "dark gap", beyond_mm=25).another()
    (idea,) = found.ideas
    place, surface = np.array(idea.mm), eye.look.body.surface
    assert idea.does == "add"
    assert idea.amount in (1.0, 0.5, 0.25, 0.1)
    assert np.linalg.norm(place - leds[0]) > 5
    assert np.linalg.norm(place) < 40 - 3
    # The net's step follows from the size of the box: the cube root of 80^3 over 20 times 150.
    np.testing.assert_allclose(place % 6, 0, atol=1e-9)
    seen = eye.seen_cd_m2 + idea.amount * law(surface.centroids, [place])
    ratio, area = over_mean(eye, seen), eye.patchwork.area
    gap = surface.centroids[:, 0] > 25
    own = float(area[gap] @ ratio[gap] / area[gap].sum())
    then = float(re.search(r"to about ([\d.]+) of the whole", found.words).group(1))
    assert then == pytest.approx(own, rel=0.02)
    assert ratio.max() < max(over_mean(eye, eye.seen_cd_m2).max(), 1.5)
    strong = eye.seen_cd_m2 + law(surface.centroids, [place * 40 / np.linalg.norm(place) * 0.9])
    assert np.std(np.log(ratio)) < np.std(np.log(over_mean(eye, strong)))
