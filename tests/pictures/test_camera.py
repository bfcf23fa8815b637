"""Where the camera stands, and what of the frame the prop takes up."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import PictureError
from glowsim.pictures.camera import FILL, framed, turned_points

CLOUD = np.random.default_rng(3).uniform([-40, -20, 0], [60, 30, 90], (500, 3))


def camera(azimuth_deg: float = 0.0, elevation_deg: float = 0.0, **more: float):
    distance_mm = more.get("distance_mm", 1000.0)
    return framed(
        CLOUD, azimuth_deg=azimuth_deg, elevation_deg=elevation_deg, distance_mm=distance_mm,
        size=(200, 150),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("azimuth_deg", "elevation_deg", "forward", "right"),
    [
        (0, 0, [0, 1, 0], [1, 0, 0]),
        (90, 0, [-1, 0, 0], [0, 1, 0]),
        (180, 0, [0, -1, 0], [-1, 0, 0]),
        (0, 90, [0, 0, -1], [1, 0, 0]),
    ],
)
def test_directions_of_view(
    azimuth_deg: float, elevation_deg: float, forward: list[int], right: list[int]
) -> None:
    seen = camera(azimuth_deg, elevation_deg)
    assert_allclose(seen.forward, forward, atol=1e-12)
    assert_allclose(seen.right, right, atol=1e-12)
    assert_allclose(np.cross(seen.right, seen.forward), seen.up, atol=1e-12)


@pytest.mark.parametrize("angles", [(0, 0), (25, 12), (140, -50), (0, 89)])
def test_the_prop_fills_its_share_of_the_frame_in_the_middle(angles: tuple[int, int]) -> None:
    pixel, _ = camera(*angles).project(CLOUD)
    low, high = pixel.min(axis=0), pixel.max(axis=0)
    # The framing iterates four times; what is left is far below a pixel.
    assert_allclose((low + high) / 2, [100, 75], atol=0.01)
    assert_allclose(((high - low) / [200, 150]).max(), FILL, rtol=1e-4)


def test_it_stands_at_the_viewing_distance_but_never_inside() -> None:
    middle = (CLOUD.min(axis=0) + CLOUD.max(axis=0)) / 2
    away = middle - camera().eye_mm
    assert_allclose(away @ camera().forward, 1000.0)
    radius = np.linalg.norm(CLOUD - middle, axis=1).max()
    assert_allclose((middle - camera(distance_mm=1.0).eye_mm) @ camera().forward, 2 * radius)


def test_pixels_look_at_what_projects_to_them() -> None:
    seen = camera(25, 12)
    pixel, depth = seen.project(CLOUD)
    # Pixel (0, 0) has its middle at (0.5, 0.5).
    direction = seen.directions(pixel[:, 0] - 0.5, pixel[:, 1] - 0.5).astype(float)
    stretch = seen.stretch(pixel[:, 0] - 0.5, pixel[:, 1] - 0.5).astype(float)
    # Single precision at 1 m: a few tenths of a micrometre.
    assert_allclose(seen.eye_mm + (depth * stretch)[:, None] * direction, CLOUD, rtol=0, atol=1e-3)
    assert_allclose(np.linalg.norm(direction, axis=1), 1.0, rtol=1e-6)


def test_a_refined_camera_sees_the_same_with_more_pixels() -> None:
    coarse, fine = camera(25, 12), camera(25, 12).refined(3)
    assert_allclose(fine.project(CLOUD)[0], 3 * coarse.project(CLOUD)[0])
    assert_allclose(fine.pixel_deg, coarse.pixel_deg / 3)


def test_turning_is_the_same_as_another_azimuth_up_to_framing() -> None:
    axis = np.array([5.0, -3.0, 0.0])
    turned = camera(25, 12).turned(40, axis)
    assert_allclose(turned.forward, camera(65, 12).forward, atol=1e-12)
    assert_allclose(
        np.hypot(*(turned.eye_mm - axis)[:2]), np.hypot(*(camera(25, 12).eye_mm - axis)[:2])
    )


def test_a_turntable_frame_holds_the_prop_from_all_sides() -> None:
    axis = CLOUD.mean(axis=0)
    framing = framed(
        turned_points(CLOUD, axis), azimuth_deg=0, elevation_deg=20, distance_mm=800,
        size=(160, 120),
    )  # fmt: skip
    for angle in range(0, 360, 10):
        pixel, _ = framing.turned(angle, axis).project(CLOUD)
        assert (pixel > 0).all()
        assert (pixel < [160, 120]).all()


@pytest.mark.parametrize("size", [(0, 100), (100, 8193), (99.5, 100)])
def test_sizes_out_of_range_are_refused(size: tuple[int, int]) -> None:
    with pytest.raises(PictureError, match=r"each side must be a whole number from 16 to 8192"):
        framed(CLOUD, azimuth_deg=0, elevation_deg=0, distance_mm=1000, size=size)
