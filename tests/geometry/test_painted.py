"""Painted corners: a colour ends halfway to the corners of another, whatever faces it is cut on."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from glowsim.geometry.where import region_on
from glowsim.scene import MeshFile, Where, parse_scene
from glowsim.transport.build import build_problem

RED, BLUE, WHITE = (255, 0, 0, 255), (0, 0, 255, 255), (240, 240, 240, 255)
TEXT = """[[bodies]]
name = "ball"
material = "pla_white"
mesh = { file = "ball.ply", units = "mm" }
detail_mm = {detail}
dark_where = { colour = "#FF0000" }
"""


def painted_ball(folder) -> trimesh.Trimesh:
    """A coarse ball, red above, blue to one side below, else white."""
    ball = trimesh.creation.icosphere(subdivisions=2, radius=30)
    x, _, z = ball.vertices.T
    colours = np.where((z > 9)[:, None], RED, np.where((x > 5)[:, None], BLUE, WHITE))
    ball.visual = trimesh.visual.ColorVisuals(ball, vertex_colors=colours.astype(np.uint8))
    ball.export(folder / "ball.ply")
    return ball


def test_its_area_is_that_between_the_corners(tmp_path):
    """Of a face with one corner of the colour a quarter belongs to it, with two three quarters; of
    one of three colours a third."""
    ball = painted_ball(tmp_path)
    colours = ball.visual.vertex_colors[ball.faces]
    red = (colours == RED).all(axis=2).sum(axis=1)
    three = (colours != np.roll(colours, 1, axis=1)).any(axis=2).all(axis=1)
    assert 0 < three.sum() < 5
    share = np.where(three, 1 / 3, np.array([0, 0.25, 0.75, 1])[red])
    for detail in ("2.5", "5.0"):
        text = TEXT.replace("{detail}", detail)
        (body,) = build_problem(parse_scene(text, folder=tmp_path)).bodies
        area = body.walls.areas_mm2[body.named.dark].sum()
        assert area == pytest.approx(ball.area_faces @ share, rel=2e-3)


def test_three_colours_share_all_of_the_surface(tmp_path):
    ball = painted_ball(tmp_path)
    points, _ = trimesh.sample.sample_surface(ball, 500, seed=1)
    held = []
    for colour in ("#ff0000", "#0000ff", "#f0f0f0"):
        where = Where(colour=colour)
        region = region_on(ball, where, tmp_path, MeshFile(file="ball.ply", units="mm"))
        assert region.painted is not None
        held.append(region.painted.covers(points))
        # No place is said to be farther from a border than one that lies across it.
        side = region.painted.limit.beyond(points)
        other = np.linalg.norm(points[:, None] - points[None], axis=2)
        other[(side < 0)[:, None] == (side < 0)[None]] = np.inf
        assert (np.abs(side) <= other.min(axis=1)).all()
    assert (np.sum(held, axis=0) == 1).all()


def test_painted_faces_and_photos_go_by_faces(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=1, radius=30)
    ball.visual.face_colors = np.where((ball.triangles_center[:, 2] > 0)[:, None], RED, WHITE)
    ball.export(tmp_path / "ball.ply")
    file = MeshFile(file="ball.ply", units="mm")
    assert region_on(ball, Where(colour="#ff0000"), tmp_path, file).painted is None
    assert region_on(ball, Where(colour="#ff0000"), tmp_path).painted is None
