"""Glare moves light about and adds none."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.pictures.glare import scattered_share, with_glare
from glowsim.scene import Room

EYE = Room(observer_age_years=25)
CAMERA = Room(observer_age_years=25, observer="camera")
BLACK = np.zeros(3)


def spot(size: int = 201, radius: float = 4.0) -> np.ndarray:
    y, x = np.mgrid[:size, :size] - size // 2
    return np.repeat((np.hypot(x, y) <= radius)[:, :, None] * 100.0, 3, axis=2)


def test_light_is_conserved() -> None:
    # A frame of 200 degrees holds all that the function scatters up to 90.
    seen = with_glare(spot(), 1.0, BLACK, EYE)
    # Solid angles are counted flat, which overrates the far field of this wide frame: it holds
    # 2 % of the light at most.
    assert_allclose(seen.sum(), spot().sum(), rtol=0.02)


def test_an_even_view_stays_as_it_is() -> None:
    even = np.full((40, 60, 3), 7.0)
    assert_allclose(with_glare(even, 0.05, np.full(3, 7.0), EYE), even)


def test_what_the_frame_loses_it_gets_from_outside() -> None:
    # The same spot on a black and on a grey ground: the ground adds itself and nothing else.
    grey = np.full(3, 5.0)
    on_grey = with_glare(spot() + grey, 0.02, grey, EYE)
    assert_allclose(on_grey, with_glare(spot(), 0.02, BLACK, EYE) + grey)


def test_the_veil_follows_the_cie_function() -> None:
    # 100 cd/m2 over a small disc; the CIE function (CIE 146:2002) gives 15.18 per lx at 1 degree
    # and 0.958 at 3 degrees for 25 years and brown eyes.
    pixel_deg = 0.02
    disc = spot(401, 5.0)
    seen = with_glare(disc, pixel_deg, BLACK, EYE)[200, :, 1]
    lux = disc[..., 1].sum() * np.radians(pixel_deg) ** 2
    # The disc is 0.2 degrees wide, and halos are worked out on two pixels at a time.
    assert_allclose(seen[200 + 50], 15.18 * lux, rtol=0.03)
    assert_allclose(seen[200 + 150], 0.958491 * lux, rtol=0.03)


def test_a_camera_scatters_less_and_old_eyes_more() -> None:
    # A young eye scatters some 8 % by more than a degree, a camera 0.3 of what an eye does.
    assert_allclose(scattered_share("camera", 25) / scattered_share("eye", 25), 0.3)
    assert scattered_share("eye", 70) > 1.2 * scattered_share("eye", 25)
    halo = [with_glare(spot(), 0.02, BLACK, room)[100, 160, 1] for room in (EYE, CAMERA)]
    assert_allclose(halo[1] / halo[0], 0.3)


@pytest.mark.parametrize("shape", [(33, 47), (300, 517), (1, 1)])
def test_pictures_of_any_shape(shape: tuple[int, int]) -> None:
    picture = np.ones((*shape, 3))
    assert with_glare(picture, 0.03, BLACK, EYE).shape == (*shape, 3)
