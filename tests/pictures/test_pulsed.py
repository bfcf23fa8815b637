"""Moving light: sums of parts are the pictures themselves."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

from glowsim.errors import PictureError
from glowsim.pictures import Studio
from glowsim.pictures.pulsed import own_light_view, pulse_frames, pulsed_studio
from glowsim.pictures.strips import Strip, strip_chart
from glowsim.pictures.turntable import write_moving
from glowsim.scene import Room
from tests.pictures.glows import body_glow, glow_of, moved, scene_with, sphere

SIZE = (64, 48)
LEVELS = (0.3, 0.8)


@pytest.fixture(scope="module")
def studio():
    """Three white balls, side by side; the first two move, the third stands still."""
    ball = body_glow(sphere(20.0, 2), 300.0, direct_lm_m2=30.0, whiteness=0.6)
    glow = glow_of([ball], [(0, moved(45.0 * k, 0, 0)) for k in range(3)])
    return Studio(glow, scene_with(Room(illuminance_lx=20.0)), "embree")


@pytest.fixture(scope="module")
def pulsed(studio):
    return pulsed_studio(studio, [[0], [1]])


def direct(studio, levels):
    """Return the picture of a glow with these levels, drawn by itself."""
    share = np.repeat(np.array([*levels, 1.0])[:, None], 3, axis=1)
    again = Studio(studio.glow.dimmed(share), studio.scene, "embree")
    return again.luminance(studio.camera(SIZE))


def test_a_weighted_sum_is_the_picture_itself(studio, pulsed):
    # Light adds up (superposition); the solver of the smoothing is direct, rays are the same.
    camera = studio.camera(SIZE)
    whole = direct(studio, LEVELS)
    for seen in (pulsed.view(camera).luminance(LEVELS), pulsed.luminance(camera, LEVELS)):
        assert_allclose(seen, whole, rtol=2e-3, atol=1e-3 * whole.max())


def test_at_full_level_it_is_the_studio(studio, pulsed):
    camera = studio.camera(SIZE)
    whole = studio.luminance(camera)
    assert_allclose(
        pulsed.view(camera).luminance((1, 1)), whole, rtol=2e-3, atol=1e-3 * whole.max()
    )


def test_own_light_is_what_is_left_in_a_dark_room(studio):
    camera = studio.camera(SIZE)
    own = own_light_view(studio, [[0], [1]], camera)
    seen = own.luminance((1, 1))
    whole = studio.luminance(camera)
    assert np.all(seen[..., 1] <= whole[..., 1] + 1e-3 * whole.max())
    # A ball of 300 + 30 lm/m2 gives 330/pi cd/m2, less what the eye scatters away.
    assert 0.85 * 330 / np.pi < seen[..., 1].max() < 1.3 * 330 / np.pi


def test_frames_follow_the_levels(studio, pulsed):
    levels = np.array([[0, 1], [1, 0], [0, 1]], float)
    frames = list(pulse_frames(pulsed, levels, size=SIZE, exposure_cd_m2=200.0))
    assert [frame.size for frame in frames] == [SIZE] * 3
    first, second, third = (np.asarray(frame, float) for frame in frames)
    assert_allclose(first, third)
    assert first[:, : SIZE[0] // 2].sum() < second[:, : SIZE[0] // 2].sum()


def test_turning_frames_differ_from_standing_ones(pulsed):
    levels = np.ones((4, 2))
    still = list(pulse_frames(pulsed, levels, size=SIZE, exposure_cd_m2=200.0))
    turned = list(pulse_frames(pulsed, levels, size=SIZE, exposure_cd_m2=200.0, turns=1.0))
    assert np.array_equal(still[0], still[1])
    assert not np.array_equal(turned[0], turned[1])


def test_too_many_groups_are_said(studio):
    with pytest.raises(PictureError, match="101 lights that move by themselves are too many"):
        pulsed_studio(studio, [[0]] * 101)


def test_no_frames_is_said(pulsed):
    with pytest.raises(PictureError, match="0 frames"):
        next(pulse_frames(pulsed, np.zeros((0, 2)), size=SIZE, exposure_cd_m2=1.0))


def test_written_as_an_animation_of_the_right_length(pulsed, tmp_path):
    levels = np.linspace(0, 1, 10)[:, None].repeat(2, axis=1)
    frames = pulse_frames(pulsed, levels, size=SIZE, exposure_cd_m2=200.0)
    write_moving(frames, tmp_path / "p.webp", frame_count=10, seconds=0.5)
    with Image.open(tmp_path / "p.webp") as picture:
        lengths = []
        for k in range(picture.n_frames):
            picture.seek(k)
            picture.load()
            lengths.append(picture.info["duration"])
    assert sum(lengths) == 500


def test_strip_chart_draws_what_it_is_given():
    rising = Strip("up", np.linspace(0, 1, 50), 1.0, (200, 0, 0), "mean 0.50")
    long = "a very long name that does not fit into its place"
    flat = Strip(long, np.full(50, 0.5), 1.0, (0, 0, 200))
    picture = np.asarray(strip_chart([rising, flat], 10.0, "Levels"), int)
    reddish = (picture[..., 0] > picture[..., 2] + 60).nonzero()
    low, high = reddish[1] < 400, reddish[1] > 1000
    # The line climbs: further up (a smaller row) at the right end than at the left.
    assert reddish[0][high].min() < reddish[0][low].min()
    with pytest.raises(PictureError, match="at least one strip"):
        strip_chart([], 1.0, "none")
