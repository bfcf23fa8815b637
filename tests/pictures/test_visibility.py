"""Which triangle a pixel shows, by rays and by OpenGL."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import glowsim
from glowsim.geometry.rays import RayTarget
from glowsim.pictures.backends import probed
from glowsim.pictures.camera import framed
from glowsim.pictures.stage import stage_of
from glowsim.pictures.visibility import BACKGROUND, points_seen, view_of
from tests.pictures.glows import body_glow, box, glow_of, moved, sphere


@pytest.fixture(scope="module")
def open_gl(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Skip where OpenGL cannot be used, and say why; fail if it must not be missing."""
    fault = probed(cache=tmp_path_factory.mktemp("cache") / "opengl.json").fault
    if fault and os.environ.get("GLOWSIM_REQUIRE_GL") != "1":
        pytest.skip(fault)
    assert not fault


def two_plates() -> np.ndarray:
    """Return two upright triangles, the second one behind the first and twice as large."""
    near = np.array([[-10, 0, 0], [10, 0, 0], [0, 0, 20.0]])
    return np.stack([near, near * 2 + [0, 30, -10]])


def test_rays_show_the_nearest_triangle_and_its_depth() -> None:
    triangles = two_plates()
    camera = framed(
        triangles.reshape(-1, 3), azimuth_deg=0, elevation_deg=0, distance_mm=500, size=(100, 100)
    )
    seen = view_of(triangles, RayTarget(triangles), "embree")(camera)
    middle = np.array([[0.0, 0, 5], [0, 30, 28]])
    (column, row), depth = camera.project(middle)[0].astype(int).T, camera.project(middle)[1]
    assert_allclose(seen.triangle[row, column], [0, 1])
    # Rays are single precision, 6e-8 of half a metre and some steps.
    assert_allclose(seen.depth_mm[row, column], depth, rtol=1e-5)
    assert seen.triangle[0, 0] == BACKGROUND
    assert seen.depth_mm[0, 0] == 0


def test_points_lie_where_the_pixel_looks() -> None:
    triangles = two_plates()
    camera = framed(
        triangles.reshape(-1, 3), azimuth_deg=30, elevation_deg=20, distance_mm=500, size=(90, 70)
    )
    points = points_seen(
        triangles, camera, view_of(triangles, RayTarget(triangles), "embree")(camera)
    )
    place = np.einsum("nkd,nk->nd", triangles[points.triangle], points.weight.astype(float))
    pixel, _ = camera.project(place)
    # Weights are single precision: a hundredth of a pixel here.
    assert_allclose(pixel, np.column_stack([points.column, points.row]) + 0.5, atol=0.02)
    assert_allclose(points.weight.sum(axis=1), 1.0, rtol=1e-6)


def busy_stage():
    ball, block = body_glow(sphere(30.0, 4)), body_glow(box(50, 20, 10))
    places = [(0, moved(0, 0, 0)), (0, moved(25, 10, 20)), (1, moved(0, -20, 30))]
    # Inside out as well: a back end that leaves out back faces must not go unnoticed.
    mirror = np.diag([-1.0, 1.0, 1.0, 1.0])
    return stage_of(glow_of([ball, block], [*places, (0, moved(-60, 0, 0) @ mirror)]))


@pytest.mark.gl
@pytest.mark.parametrize("size", [(320, 240), (333, 201)])
def test_both_back_ends_agree(open_gl: None, size: tuple[int, int]) -> None:
    stage = busy_stage()
    camera = framed(stage.points, azimuth_deg=25, elevation_deg=15, distance_mm=1500, size=size)
    rays, drawn = (view_of(stage.triangles, stage.rays, way)(camera) for way in ("embree", "gl"))
    # Edges may fall to either side: at most half a percent of all pixels.
    assert (rays.triangle == drawn.triangle).mean() >= 0.995
    same = (rays.triangle == drawn.triangle) & (rays.triangle != BACKGROUND)
    assert same.mean() > 0.2
    # Depths in 24 bits over the prop's depth, and rays in single precision.
    assert_allclose(drawn.depth_mm[same], rays.depth_mm[same], rtol=1e-3)


@pytest.mark.gl
def test_open_gl_works_from_several_threads_and_for_several_props(open_gl: None) -> None:
    one, other = busy_stage(), stage_of(glow_of([body_glow(sphere())]))
    views = [view_of(s.triangles, s.rays, "gl") for s in (one, other)]
    cameras = [
        framed(s.points, azimuth_deg=0, elevation_deg=0, distance_mm=900, size=(64, 64))
        for s in (one, other)
    ]
    alone = [view(camera).triangle for view, camera in zip(views, cameras, strict=True)]
    with ThreadPoolExecutor(2) as pool:
        jobs = [pool.submit(views[k % 2], cameras[k % 2]) for k in range(8)]
        for k, job in enumerate(jobs):
            assert_allclose(job.result().triangle, alone[k % 2])


def test_only_visibility_knows_pyrender() -> None:
    package = Path(glowsim.__file__).parent
    users = [
        str(file.relative_to(package))
        for file in package.rglob("*.py")
        if "import pyrender" in file.read_text(encoding="utf-8")
    ]
    assert users == [str(Path("pictures") / "visibility.py")]
