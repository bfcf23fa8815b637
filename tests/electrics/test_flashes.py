"""Flash counts just below and above the thresholds of WCAG 2.x (general and red)."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.electrics.flashes import coarse, count_flashes

FPS = 60
WHITE, RED, BLUE = (1.0, 1.0, 1.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def count(states, hertz, *, seconds=3.0, cells=(40, 40), cell_deg=0.5, fps=FPS, where=None):
    """Count a square wave between two colours over all cells."""
    time_s = np.arange(round(seconds * fps)) / fps
    first = (time_s * hertz) % 1 < 0.5
    frames = np.where(first[:, None], np.array(states[0]), np.array(states[1]))
    mask = np.ones(cells, bool) if where is None else where
    pictures = np.broadcast_to(frames[:, None, :], (len(frames), int(mask.sum()), 3))
    return count_flashes(pictures, mask, frames_per_second=fps, cell_deg=cell_deg)


def grey(value):
    return (value, value, value)


@pytest.mark.parametrize(
    ("hertz", "per_second", "too_many"),
    [(1.0, 1.0, False), (2.9, 3.0, False), (3.1, 3.5, True), (4.1, 4.5, True), (10.0, 10.0, True)],
)
def test_rate(hertz, per_second, too_many):
    found = count((grey(0), grey(1)), hertz).general
    assert found.per_second == per_second
    assert found.too_many == too_many


@pytest.mark.parametrize(
    ("dark", "bright", "counts"),
    [
        (0.00, 0.09, False),  # less than 10 % of full white
        (0.00, 0.11, True),
        (0.50, 0.58, False),
        (0.50, 0.61, True),
        (0.79, 0.95, True),  # the darker state below 0.80
        (0.81, 0.95, False),
        (0.85, 0.95, False),
        (0.70, 0.80, True),  # exactly 10 %
    ],
)
def test_depth(dark, bright, counts):
    assert count((grey(dark), grey(bright)), 10).general.too_many == counts


def test_it_is_luminance_that_counts():
    # Full blue has the relative luminance 0.0722, full green 0.7152 (IEC 61966-2-1).
    assert not count((BLUE, grey(0)), 10).general.too_many
    assert count(((0, 1, 0), grey(0)), 10).general.too_many


@pytest.mark.parametrize(
    ("cells", "counts"),
    [(218, False), (219, True)],  # of 0.3 degrees each: 0.00598 and 0.00600(4) sr
)
def test_area_threshold(cells, counts):
    # A quarter of a 10 degree field, 0.006 sr (WCAG prints .006).
    where = np.zeros((60, 60), bool)
    where[:15, :15] = True
    where[0, : 225 - cells] = False
    assert (where.sum() * np.radians(0.3) ** 2 > 0.006) == counts
    found = count((grey(0), grey(1)), 5, cells=(60, 60), cell_deg=0.3, where=where).general
    assert found.too_many == counts
    assert found.anywhere == 5.0


def test_an_area_spread_wider_than_ten_degrees_does_not_add_up():
    # Two patches of 0.004 sr each, 30 degrees apart: neither field holds 0.006 sr.
    where = np.zeros((40, 120), bool)
    where[:12, :12] = where[-12:, -12:] = True
    far = count((grey(0), grey(1)), 5, where=where, cell_deg=0.3)
    assert where.sum() * np.radians(0.3) ** 2 > 0.006
    assert not far.too_many
    where = np.zeros((40, 120), bool)
    where[:12, :24] = True
    assert count((grey(0), grey(1)), 5, where=where, cell_deg=0.3).too_many


def test_fifteen_square_centimetres_at_half_a_metre():
    # 0.006 sr at 0.5 m is 15 cm2: cells of 2 mm, 350 of them are 14 cm2, 400 are 16 cm2.
    cell_deg = float(np.degrees(2 / 500))
    for cells, too_many in (((14, 25), False), ((16, 25), True)):
        found = count((grey(0), grey(1)), 5, cells=cells, cell_deg=cell_deg)
        assert found.too_many == too_many


@pytest.mark.parametrize(
    ("states", "counts"),
    [
        ((RED, grey(0.2)), True),  # saturated red to grey: 0.259 in u'v'
        ((RED, grey(0)), True),  # and to black, which has no colour
        ((RED, BLUE), True),
        # By the formulas of CIE 1976 u'v' on linear sRGB, worked out apart from the program:
        (((1.0, 0.05, 0.05), grey(0.3)), True),  # 0.203 away
        (((1.0, 0.06, 0.06), grey(0.3)), False),  # 0.195 away
        (((1.0, 0.12, 0.12), (0.0, 1.0, 0.0)), True),  # R/(R+G+B) = 0.806, 0.229 away
        (((1.0, 0.13, 0.13), (0.0, 1.0, 0.0)), False),  # 0.794: not saturated, 0.224 away
        (((1.0, 0.1, 0.1), grey(0.3)), False),  # 0.83, saturated, but only 0.18 away
        (((1.0, 0.0, 0.24), (1.0, 0.05, 0.15)), False),  # both red, hardly apart
        ((BLUE, grey(0)), False),
    ],
)
def test_red(states, counts):
    found = count(states, 5)
    assert found.red.too_many == counts
    assert found.too_many == (counts or found.general.too_many)


def test_red_is_counted_even_where_luminance_does_not_change():
    # Red 1 has Y 0.2126: against a grey of that luminance nothing brightens, yet red flashes.
    found = count((RED, grey(0.2126)), 4)
    assert not found.general.too_many
    assert found.red.per_second == 4.0


def test_slow_fades_and_small_wobbles_are_no_flashes():
    time_s = np.arange(5 * FPS) / FPS
    slow = 0.5 - 0.5 * np.cos(2 * np.pi * 0.5 * time_s)
    wobble = slow + 0.03 * np.sin(2 * np.pi * 12 * time_s)
    for course, most in ((slow, 1.0), (wobble, 1.0)):
        frames = np.repeat(course[:, None, None], 3, axis=2).repeat(1600, axis=1)
        found = count_flashes(frames, np.ones((40, 40), bool), frames_per_second=FPS, cell_deg=0.5)
        assert found.general.per_second <= most


def test_a_change_over_several_frames_counts_once():
    # Rises and falls over five frames each, three times a second: 6 changes, not 30.
    step = np.concatenate([np.linspace(0, 1, 5, endpoint=False), np.ones(5)])
    course = np.tile(np.concatenate([step, step[::-1]]), 9)
    frames = np.repeat(course[:, None, None], 3, axis=2).repeat(1600, axis=1)
    found = count_flashes(frames, np.ones((40, 40), bool), frames_per_second=60, cell_deg=0.5)
    assert found.general.per_second == 3.0


def test_a_still_picture():
    found = count((grey(0.3), grey(0.3)), 5)
    assert found.general.per_second == found.red.per_second == 0


def test_the_second_with_most_flashes_is_told():
    time_s = np.arange(6 * FPS) / FPS
    course = np.where((time_s >= 3) & ((time_s * 6) % 1 < 0.5), 1.0, 0.0)
    frames = np.repeat(course[:, None, None], 3, axis=2).repeat(1600, axis=1)
    found = count_flashes(frames, np.ones((40, 40), bool), frames_per_second=FPS, cell_deg=0.5)
    assert found.general.per_second == 6.0
    assert_allclose(found.general.at_s, 3.0, atol=0.2)


def test_coarse_keeps_the_mean():
    picture = np.random.default_rng(1).uniform(size=(7, 10, 3))
    small = coarse(picture, 3)
    assert small.shape == (2, 3, 3)
    assert_allclose(small.mean(axis=(0, 1)), picture[:6, :9].mean(axis=(0, 1)))
