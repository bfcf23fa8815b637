"""Photographs: equal light gives equal pixels at one exposure."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import PictureError
from glowsim.pictures import Studio, photo
from glowsim.pictures.photo import STRIP_SHARE
from glowsim.scene import Room, View
from tests.pictures.glows import body_glow, glow_of, moved, scene_with, sphere

SIZE = (160, 120)
HALL = Room(illuminance_lx=100.0, viewing_distance_mm=2000.0)


@pytest.fixture(scope="module")
def studio() -> Studio:
    ball = body_glow(sphere(40.0), 2000.0, whiteness=0.8)
    return Studio(glow_of([ball]), scene_with(HALL), "embree")


def test_a_photo_has_the_size_asked_for(studio: Studio) -> None:
    assert studio.photo(SIZE).size == SIZE
    captioned, plain = studio.photo((480, 360)), studio.photo((480, 360), caption=False)
    assert captioned.size == plain.size == (480, 360)
    strip = round(360 * STRIP_SHARE)
    foot = np.asarray(captioned)[-strip:]
    # A dark strip with light words on it.
    assert np.median(foot) < 30
    assert foot.max() > 120


def test_luminance_is_what_the_surface_has_plus_glare(studio: Studio) -> None:
    camera = studio.camera(SIZE, azimuth_deg=0, elevation_deg=0)
    picture = studio.luminance(camera)
    surface = studio.shading.seen
    assert callable(surface)
    # The middle of the sphere: M / pi and 0.6 E of room light sent back; of this an eye keeps
    # about two thirds in place, and gets most of the rest back from around.
    own = 2000 / np.pi + 0.8 * 0.6 * 100 / np.pi
    assert 0.85 * own < picture[60, 80, 1] < own
    # The wall: 0.06 E / pi, and the halo on top.
    wall = 0.06 * 100 / np.pi
    assert wall < picture[3, 3, 1] < 10 * wall


def test_one_exposure_shows_equal_light_equally(studio: Studio) -> None:
    ball = body_glow(sphere(40.0), 2000.0, whiteness=0.8)
    far = Studio(glow_of([ball], [(0, moved(300, -20, 70))]), scene_with(HALL), "embree")
    one = np.asarray(studio.photo(SIZE, exposure_cd_m2=900.0)).astype(int)
    other = np.asarray(far.photo(SIZE, exposure_cd_m2=900.0)).astype(int)
    # Only the rays that light the table fall otherwise.
    assert np.abs(one - other).max() <= 2
    assert_allclose(np.asarray(studio.photo(SIZE, exposure_cd_m2=900.0)).astype(int), one)


def test_exposure_is_the_luminance_of_white(studio: Studio) -> None:
    camera = studio.camera(SIZE)
    bright = studio.luminance(camera)[60, 80, 1]
    middle = [
        np.asarray(studio.photo(SIZE, camera=camera, exposure_cd_m2=e))[60, 80].mean()
        for e in (bright, 3 * bright, 30 * bright)
    ]
    assert middle[0] >= 250
    assert middle[0] > middle[1] > middle[2] > 0


def test_the_scene_gives_angles_and_exposure() -> None:
    view = View(azimuth_deg=90, elevation_deg=0, exposure_cd_m2=123.0)
    studio = Studio(glow_of([body_glow(sphere())]), scene_with(view=view), "embree")
    assert studio.exposure_cd_m2 == 123.0
    assert_allclose(studio.camera(SIZE).forward, [-1, 0, 0], atol=1e-12)


def test_the_glow_outshines_a_dark_room_and_drowns_in_the_sun() -> None:
    glow = glow_of([body_glow(sphere(40.0), 300.0, whiteness=0.8)])
    contrast = []
    for lux in (5.0, 50_000.0):
        room = Room(illuminance_lx=lux)
        picture = np.asarray(photo(glow, scene_with(room), SIZE, backend="embree")).astype(float)
        contrast.append(picture[60, 80].mean() / picture[4, 4].mean())
    # In the dark, a lamp before a black ground; in the sun, a white ball before a grey one.
    assert contrast[0] > 6
    assert contrast[1] < 3


def test_a_prop_without_light_is_drawn() -> None:
    picture = photo(
        glow_of([body_glow(sphere(), whiteness=0.5)]), scene_with(HALL), SIZE, backend="embree"
    )
    assert np.asarray(picture)[60, 80].mean() > 60


def test_faults_are_said(studio: Studio) -> None:
    with pytest.raises(PictureError, match="a picture of 0 x 10 pixels cannot be drawn"):
        studio.photo((0, 10))
    with pytest.raises(PictureError, match="an exposure of 0 cd/m2 cannot be used"):
        studio.photo(SIZE, exposure_cd_m2=0.0)
