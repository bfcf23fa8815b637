"""Noise taken out of a glow for pictures, on spheres whose noise is made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.geometry.mesh import from_manifold, to_manifold
from glowsim.pictures import Studio
from glowsim.pictures.calm import CALM, calmed
from tests.pictures.glows import body_glow, box, glow_of, scene_with, sphere


def noisy(level, relative, seed=1):
    """A sphere, its brightness by face, and the same with noise; both as glows."""
    surface = sphere(subdivisions=4)
    exact = np.broadcast_to(np.asarray(level(surface.centroids), float), len(surface.faces))
    sigma = relative * exact
    drawn = exact + sigma * np.random.default_rng(seed).standard_normal(len(exact))
    body = body_glow(surface, np.maximum(drawn, 0))
    error = np.zeros_like(body.diffuse)
    error[0, 1] = sigma / 1e6
    return glow_of([replace(body, error=error)]), exact


def green(glow):
    return glow.bodies[0].diffuse[0, 1] * 1e6


def roughness(glow, exact):
    return float(np.std(green(glow) / exact - 1))


@pytest.mark.parametrize("relative", [0.1, 0.5])
def test_noise_goes_down_to_what_no_picture_shows(relative):
    glow, exact = noisy(lambda c: 100.0, relative)
    assert roughness(glow, exact) > 0.9 * relative
    assert roughness(calmed(glow), exact) < 2.5 * CALM
    area = glow.bodies[0].surface.areas_mm2
    assert area @ green(calmed(glow)) == pytest.approx(area @ green(glow), rel=0.01)


def test_only_where_it_is_noisy():
    """A fine pattern that is well known stays; the same pattern, ill known, is averaged."""
    glow, exact = noisy(lambda c: 100 + 60 * np.sign(np.sin(c[:, 2])), 0.005)
    np.testing.assert_allclose(green(calmed(glow)), green(glow), rtol=1e-6)
    unsure, _ = noisy(lambda c: 100 + 60 * np.sign(np.sin(c[:, 2])), 0.5)
    assert np.std(green(calmed(unsure))) < 0.5 * np.std(exact)


def test_a_slow_change_survives():
    glow, exact = noisy(lambda c: 100 * np.exp(c[:, 2] / 30), 0.2)
    assert roughness(calmed(glow), exact) < 0.08


def test_a_face_without_photons_takes_what_is_around():
    glow, _ = noisy(lambda c: 100.0, 0.05)
    glow.bodies[0].diffuse[0, 1, 100] = glow.bodies[0].error[0, 1, 100] = 0.0
    assert green(calmed(glow))[100] > 50


def test_nothing_runs_over_a_sharp_edge():
    surface = from_manifold(to_manifold(box(40, 40, 40), "box").refine_to_length(3))
    top = surface.normals[:, 2] > 0.5
    body = body_glow(surface, np.where(top, 1000.0, 10.0))
    error = np.zeros_like(body.diffuse)
    error[0, 1] = 0.5 * body.diffuse[0, 1]
    calm = calmed(glow_of([replace(body, error=error)]))
    np.testing.assert_allclose(green(calm)[~top], 10.0, rtol=1e-3)


def test_a_solver_without_noise_is_left_alone():
    glow = glow_of([body_glow(sphere(), 100.0)])
    assert calmed(glow).bodies[0] is glow.bodies[0]


def test_pictures_are_calm_and_figures_are_not():
    glow, _ = noisy(lambda c: 100.0, 0.3)
    studio = Studio(glow, scene_with(), "embree")
    assert studio.glow is glow
    shown = studio.shading.emission.square_on_cd_m2[:, 1]
    assert np.std(shown) / np.mean(shown) < 2.5 * CALM
