"""The stage: triangles of all copies, corners shared only where brightness may run across."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import PictureError
from glowsim.geometry.creases import smooth_corners
from glowsim.geometry.mesh import Mesh
from glowsim.pictures.stage import stage_of
from tests.pictures.glows import body_glow, box, glow_of, moved, sphere


def test_a_sphere_shares_its_corners_and_a_box_does_not() -> None:
    ball, block = sphere(subdivisions=3), box(10, 20, 30)
    assert smooth_corners(ball, np.zeros(len(ball.faces), int))[1] == len(ball.vertices)
    # Eight corners, three faces at each.
    assert smooth_corners(block, np.zeros(12, int))[1] == 24


def test_corners_part_at_a_change_of_kind() -> None:
    ball = sphere(subdivisions=3)
    north = (ball.centroids[:, 2] > 0).astype(int)
    corner, _ = smooth_corners(ball, north)
    assert not set(corner[north == 1].ravel()) & set(corner[north == 0].ravel())


def test_brightness_does_not_bleed_across_edges() -> None:
    block = box(10, 20, 30)
    top = block.normals[:, 2] > 0.9
    stage = stage_of(glow_of([body_glow(block)]))
    corner = stage.at_corners(np.where(top, 7.0, 0.0)[:, None])[stage.corner][:, :, 0]
    assert_allclose(corner[top], 7.0)
    assert_allclose(corner[~top], 0.0)


def test_paint_on_a_smooth_surface_ends_sharply() -> None:
    ball = sphere(subdivisions=3)
    north = ball.centroids[:, 2] > 0
    stage = stage_of(glow_of([body_glow(ball, glows=north)]))
    corner = stage.at_corners(north[:, None].astype(float))[stage.corner][:, :, 0]
    assert_allclose(corner, np.broadcast_to(north[:, None], corner.shape))


def test_means_at_corners_weigh_by_area() -> None:
    # Two triangles of 1 and 3 mm2 that share an edge.
    mesh = Mesh.single_part(
        np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0], [-3, 0, 0.0]]), np.array([[0, 1, 2], [0, 2, 3]])
    )
    stage = stage_of(glow_of([body_glow(mesh)]))
    value = stage.at_corners(np.array([[4.0], [8.0]]))[stage.corner][:, :, 0]
    assert_allclose(value, [[7, 4, 7], [7, 7, 8]])


def test_light_that_falls_off_along_thin_faces_shows_no_stripes() -> None:
    # Columns by turns wide and narrow, cut into faces 4 mm long that lean one way and the other:
    # as a sketched blade comes, lit by an LED a little below its surface.
    x, z = np.cumsum(np.tile([1.4, 0.6], 8)) - 8, np.arange(-20.0, 21, 4)
    row = len(z)
    corners = np.array([[a, 0, b] for a in x for b in z])
    faces = []
    for i in range(len(x) - 1):
        for j in range(row - 1):
            a, b, c, d = row * i + j, row * i + j + 1, row * (i + 1) + j, row * (i + 1) + j + 1
            faces += [[a, c, b], [b, c, d]] if i % 2 else [[a, d, b], [a, c, d]]
    stage = stage_of(glow_of([body_glow(Mesh.single_part(corners, np.array(faces)))]))

    def glow(place: np.ndarray) -> np.ndarray:
        return np.exp(-np.abs(place[..., 2]) / 6)

    shares = np.random.default_rng(0).dirichlet((1, 1, 1), 400)
    of_faces = np.mean([glow(np.einsum("c,mcd->md", w, stage.triangles)) for w in shares], axis=0)
    inside = (np.abs(stage.points[:, 0]) < 6) & (np.abs(stage.points[:, 2]) == 8)
    stripes = [
        np.std(read(of_faces[:, None])[inside, 0]) / glow(np.array([0, 0, 8.0]))
        for read in (stage.at_corners, stage.sharp_at_corners)
    ]
    assert stripes[0] > 0.05
    assert stripes[1] < 0.6 * stripes[0]


def test_copies_stand_where_they_should() -> None:
    glow = glow_of([body_glow(box(2, 2, 2))], [(0, moved(0, 0, 0)), (0, moved(10, 0, 0))])
    stage = stage_of(glow)
    assert_allclose(stage.bounds, [[-1, -1, -1], [11, 1, 1]])
    assert_allclose(stage.triangles[stage.copy == 1], stage.triangles[stage.copy == 0] + [10, 0, 0])
    assert_allclose(stage.face, np.tile(np.arange(12), 2))
    assert_allclose(stage.points[stage.corner], stage.triangles)
    assert len(np.unique(stage.piece)) == 12


def test_nothing_to_see_is_said() -> None:
    empty = Mesh.single_part(np.zeros((0, 3)), np.zeros((0, 3), int))
    with pytest.raises(PictureError, match="nothing to draw"):
        stage_of(glow_of([body_glow(empty)]))


def test_copies_have_the_weights_of_lines_that_each_has_by_itself() -> None:
    body = body_glow(sphere(subdivisions=2))
    turned = moved(80, 5, -30)
    c, s = np.cos(0.7), np.sin(0.7)
    turned[:3, :3] = [[c, -s, 0], [s, c, 0], [0, 0, 1]]
    stage = stage_of(glow_of([body], [(0, np.eye(4)), (0, turned)]))
    values = np.random.default_rng(5).random((len(stage.triangles), 2))
    both = stage.sharp_at_corners(values)
    half = len(values) // 2
    alone = stage_of(glow_of([body], [(0, turned)])).sharp_at_corners(values[half:])
    assert_allclose(both[stage.starts[1] :], alone, rtol=1e-6)


def test_the_outline_frames_as_all_corners_do() -> None:
    stage = stage_of(glow_of([body_glow(box(10, 20, 30)), body_glow(sphere())]))
    assert len(stage.outline) < len(stage.points)
    assert_allclose(stage.outline.min(axis=0), stage.points.min(axis=0))
    assert_allclose(stage.outline.max(axis=0), stage.points.max(axis=0))
    flat = Mesh.single_part(np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    sheet = stage_of(glow_of([body_glow(flat)]))
    assert len(sheet.outline) == 3


def test_bodies_that_are_not_wanted_keep_their_values() -> None:
    stage = stage_of(glow_of([body_glow(sphere()), body_glow(sphere())]))
    values = np.random.default_rng(6).random((stage.corner_count, 1))
    half = stage.starts[1]
    calm = stage.smoothed(values, 5.0, stage.copy == 1)
    assert (calm[:half] == values[:half]).all()
    assert_allclose(calm[half:], stage.smoothed(values, 5.0)[half:])
