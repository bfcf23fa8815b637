"""Maps of a ratio: the scale, what is coloured, what is grey."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.errors import PictureError
from glowsim.optics.colour import lightness
from glowsim.optics.srgb import LUMINANCE_OF_SRGB, decode
from glowsim.pictures import Compared, Mark, Studio, Words, ratio_map
from glowsim.pictures.ratio_map import TOO_NOISY, ratio_scale
from tests.pictures.glows import body_glow, glow_of, scene_with, sphere

ONE = np.ones(100)


def scale_to(worst):
    return ratio_scale(np.linspace(1 / worst, worst, 100), ONE)


@pytest.mark.parametrize(
    ("worst", "high"), [(1.01, 1.05), (1.08, 1.1), (1.3, 1.5), (4.0, 5.0), (50.0, 5.0)]
)
def test_the_scale_is_the_narrowest_round_one(worst, high):
    scale = scale_to(worst)
    assert scale.high == high
    assert scale.low == pytest.approx(1 / high)
    assert ratio_scale(np.full(9, np.nan), np.ones(9)).high > 1


def test_a_ratio_and_its_inverse_are_as_far_from_white():
    scale = scale_to(1.5)
    above, middle, below = scale.colours(np.array([1.3, 1.0, 1 / 1.3]))
    assert middle.min() > 240
    light = [float(lightness(decode(c / 255) @ LUMINANCE_OF_SRGB)) for c in (above, below)]
    assert light[0] == pytest.approx(light[1], abs=12)
    assert above[2] > above[0] + 40, "too bright is blue"
    assert below[0] > below[2] + 40, "too dark is orange"


def test_ticks_say_percent():
    scale = scale_to(1.15)
    assert scale.high == 1.2
    assert [scale.label(t) for t in scale.ticks] == [
        *("-17 %", "-9 %", "-5 %", "same", "+5 %", "+10 %", "+20 %")
    ]
    assert (np.diff(scale.share(scale.ticks)) > 0.05).all()


@pytest.fixture(scope="module")
def studio():
    return Studio(glow_of([body_glow(sphere(), 100.0)]), scene_with(), "embree")


def picture(studio, ratio, noise=0.01, marks=()):
    faces = len(studio.glow.bodies[0].glows)
    compared = Compared(np.broadcast_to(ratio, faces), np.broadcast_to(noise, faces))
    page = ratio_map(studio, {"copy 0": compared}, Words("Test"), marks, (480, 360))
    return np.asarray(page).astype(int)


def share_of(colours, test):
    """Share of the pixels of the sphere's views that pass a test of their channels."""
    left = colours[60:280, : 480 - 110]
    body = left.max(axis=2) < 250
    return float(np.mean(test(*left[body].T)))


def test_blue_where_too_bright_orange_where_too_dark_grey_where_unknown(studio):
    def blue(r, g, b):
        return b > r + 15

    def orange(r, g, b):
        return r > b + 15

    def grey(r, g, b):
        return (abs(r - g) < 4) & (abs(g - b) < 4)

    assert share_of(picture(studio, 1.3), blue) > 0.8
    assert share_of(picture(studio, 0.75), orange) > 0.8
    assert share_of(picture(studio, np.nan), grey) > 0.8
    assert share_of(picture(studio, 1.3, noise=2 * TOO_NOISY), grey) > 0.8


def test_what_noise_may_have_made_stays_white(studio):
    def white(r, g, b):
        return (np.minimum(np.minimum(r, g), b) > 200) & (abs(r - b) < 12)

    assert share_of(picture(studio, 1.08, noise=0.05), white) > 0.8
    assert share_of(picture(studio, 1.08, noise=0.001), white) < 0.2


def test_halves_are_told_apart(studio):
    up = studio.glow.bodies[0].surface.centroids[:, 2] > 0
    page = picture(studio, np.where(up, 1.4, 0.7))[60:280, : 480 - 110]
    blue = page[:, :, 2] > page[:, :, 0] + 30
    orange = page[:, :, 0] > page[:, :, 2] + 30
    assert np.nonzero(blue)[0].mean() < np.nonzero(orange)[0].mean() - 20


def test_marks_and_words_change_the_page(studio):
    mark = Mark(1, "hot", np.array([0.0, -50.0, 0.0]), "worst")
    assert (picture(studio, 1.2, marks=[mark]) != picture(studio, 1.2)).any()


def test_a_size_out_of_range_is_refused(studio):
    with pytest.raises(PictureError):
        ratio_map(studio, {}, Words("Test"), (), (20, 20))
