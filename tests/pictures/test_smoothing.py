"""Smoothing by a distance on the surface, not by a number of triangles."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial import Delaunay

from glowsim.pictures.smoothing import surface_heat
from glowsim.pictures.stage import stage_of
from tests.pictures.glows import body_glow, glow_of, sphere


def plate(count: int = 3000, stretch: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Return points and triangles of an irregular square plate of 100 mm."""
    rng = np.random.default_rng(8)
    side = np.linspace(0, 100, 30)
    rim = np.concatenate(
        [np.stack([side, 0 * side + k], 1) for k in (0, 100)]
        + [np.stack([0 * side + k, side], 1) for k in (0, 100)]
    )
    points = np.unique(np.vstack([rng.uniform(0, 100, (count, 2)), rim]), axis=0)
    # Triangles that are slivers when stretched back.
    faces = Delaunay(points * [stretch, 1]).simplices
    return np.column_stack([points, np.zeros(len(points))]), faces


@pytest.mark.parametrize("stretch", [1.0, 8.0])
def test_a_point_spreads_to_a_gaussian_of_the_radius(stretch: float) -> None:
    points, faces = plate(stretch=stretch)
    heat = surface_heat(points[faces], faces, len(points))
    middle = np.linalg.norm(points - [50, 50, 0], axis=1).argmin()
    value = np.zeros((len(points), 1))
    value[middle] = 1 / heat.mass[middle]
    share = heat.mass * heat.smoothed(value, 8.0)[:, 0]
    assert_allclose(share.sum(), 1.0, rtol=1e-9)
    for axis in (0, 1):
        spread = np.sqrt((share * (points[:, axis] - points[middle, axis]) ** 2).sum())
        # Triangles of 2 to 16 mm add to it.
        assert_allclose(spread, 8.0, rtol=0.11)


def test_a_field_that_rises_evenly_stays() -> None:
    points, faces = plate(stretch=8.0)
    heat = surface_heat(points[faces], faces, len(points))
    inner = (np.abs(points[:, :2] - 50) < 25).all(axis=1)
    rising = 2 * points[:, :1] + points[:, 1:2]
    # At 5 mm from the points asked for, the rim is five deviations away.
    assert_allclose(heat.smoothed(rising, 5.0)[inner], rising[inner], rtol=0.01)


def test_noise_is_averaged_out_and_the_mean_kept() -> None:
    stage = stage_of(glow_of([body_glow(sphere(50.0, 4))]))
    noise = np.random.default_rng(1).normal(1.0, 1.0, (stage.corner_count, 2))
    calm = stage.smoothed(noise, 8.0)
    ((heat, _),) = stage._heat
    area = heat.mass
    assert_allclose(area @ calm, area @ noise, rtol=5e-3)
    # The area 4 pi s^2 holds 65 corners here, for a Gaussian: an eighth is left.
    assert_allclose(calm.std(), 1 / np.sqrt(65), rtol=0.3)


def test_triangles_without_area_do_no_harm() -> None:
    points, faces = plate(300)
    faces = np.vstack([faces, [[0, 0, 1], [5, 6, 5]]])
    heat = surface_heat(points[faces], faces, len(points))
    even = np.full((len(points), 1), 4.0)
    assert_allclose(heat.smoothed(even, 10.0), even, rtol=1e-3)


def test_no_radius_changes_nothing() -> None:
    points, faces = plate(50)
    value = np.arange(len(points), dtype=float)[:, None]
    heat = surface_heat(points[faces], faces, len(points))
    assert_allclose(heat.smoothed(value, 0.0), value)
