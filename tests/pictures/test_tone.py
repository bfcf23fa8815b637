"""Exposure, shoulder, sRGB."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import PictureError
from glowsim.optics.colour import led_channel_xyz_per_lumen
from glowsim.pictures.shade import emission_of
from glowsim.pictures.stage import stage_of
from glowsim.pictures.tone import (
    SHOULDER,
    checked_exposure,
    chosen_exposure_cd_m2,
    developed,
    displayed,
    level,
    shoulder,
)
from glowsim.scene import Room
from tests.pictures.glows import NEUTRAL, body_glow, glow_of, sphere

RED = led_channel_xyz_per_lumen(dominant_nm=620.75, fwhm_nm=18)
BLUE = led_channel_xyz_per_lumen(dominant_nm=466.0, fwhm_nm=22)


def test_black_is_black_and_white_is_white() -> None:
    black, white = np.zeros((4, 4, 3)), np.broadcast_to(100 * NEUTRAL, (4, 4, 3))
    # Grain between 0 and 1 is added before rounding down: black stays below 1.
    assert developed(black, 100.0).max() == 0
    # D65 as rounded here is off by a few ppm: at most one step of 255.
    assert developed(white, 100.0).min() >= 254


def test_neutral_light_stays_neutral_at_any_brightness() -> None:
    shown = displayed(np.geomspace(0.01, 1e6, 50)[:, None] * NEUTRAL, 100.0)
    assert_allclose(shown, np.repeat(shown[:, :1], 3, axis=1), rtol=1e-3)
    assert (np.diff(shown[:, 1]) >= -1e-9).all()


def test_the_shoulder_rises_from_a_steep_start_to_white() -> None:
    x = np.linspace(0, 3, 400)
    y = shoulder(x)
    assert (np.diff(y) >= 0).all()
    assert_allclose(y[x >= 1], 1.0)
    assert_allclose(shoulder(np.array([1e-6])), 1e-6 * (1 + SHOULDER), rtol=1e-4)


def test_exposure_counts_the_strongest_channel() -> None:
    # Linear sRGB of LED primaries per unit of Y, cut to the gamut: 4.704 red, 13.85 blue
    # (computed from the CIE 1931 tables for Gaussians of 18 and 22 nm).
    assert_allclose(level(RED), 4.704, rtol=0.01)
    assert_allclose(level(BLUE), 13.85, rtol=0.01)
    assert_allclose(level(50 * NEUTRAL), 50.0, rtol=1e-3)


def test_a_pure_colour_stays_pure_until_it_is_overexposed() -> None:
    full = displayed(BLUE / 13.85, 1.0)
    assert full[2] > 0.95
    assert full[:2].max() < 0.25
    assert displayed(100 * BLUE, 1.0).min() > 0.9


def test_chosen_exposure_suits_glow_and_room() -> None:
    glow = glow_of([body_glow(sphere(), 1000.0)])
    stage, emission = stage_of(glow), emission_of(glow)
    assert_allclose(
        chosen_exposure_cd_m2(stage, emission, Room(illuminance_lx=10)), 1000 / np.pi, rtol=1e-3
    )
    # White paper of reflectance 0.9 in 10 000 lx is brighter than that.
    assert_allclose(
        chosen_exposure_cd_m2(stage, emission, Room(illuminance_lx=10_000)), 9000 / np.pi
    )


def test_a_dark_prop_in_a_dark_room_has_an_exposure() -> None:
    glow = glow_of([body_glow(sphere())])
    exposure = chosen_exposure_cd_m2(stage_of(glow), emission_of(glow), Room(illuminance_lx=0))
    assert exposure > 0


@pytest.mark.parametrize("wrong", [0.0, -1.0, np.nan, np.inf])
def test_an_impossible_exposure_is_refused(wrong: float) -> None:
    with pytest.raises(PictureError, match=r"an exposure of .* cannot be used"):
        checked_exposure(wrong)
