"""Painted corners: a colour ends between them and those of another, whatever faces it is cut on."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from glowsim.findings.surface_regions import _turns
from glowsim.geometry.holes import open_edges
from glowsim.geometry.meshfile import read_named
from glowsim.geometry.where import cut_out, region_on
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


def test_every_corner_keeps_its_colour_whatever_faces_it_is_cut_on(tmp_path):
    ball = painted_ball(tmp_path)
    file = MeshFile(file="ball.ply", units="mm")
    painted = region_on(ball, Where(colour="#ff0000"), tmp_path, file).painted
    red = (ball.visual.vertex_colors == RED).all(axis=1)
    assert (painted.covers(ball.vertices) == red).all()
    areas = []
    for detail in ("2.5", "5.0"):
        text = TEXT.replace("{detail}", detail)
        (body,) = build_problem(parse_scene(text, folder=tmp_path)).bodies
        areas.append(body.walls.areas_mm2[body.named.dark].sum())
    assert areas[0] == pytest.approx(areas[1], rel=2e-3)


def test_a_border_at_a_slant_to_the_mesh_has_no_teeth(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=20)
    way = np.array([1.0, 2.0, 3.0]) / np.sqrt(14)
    colours = np.where((ball.vertices @ way > 6)[:, None], RED, WHITE).astype(np.uint8)
    ball.visual = trimesh.visual.ColorVisuals(ball, vertex_colors=colours)
    ball.export(tmp_path / "ball.ply")
    file = MeshFile(file="ball.ply", units="mm")
    outer = read_named(file, tmp_path)[0]
    cut, held = cut_out(outer, region_on(outer, Where(colour="#ff0000"), tmp_path, file))
    edges = open_edges(cut.faces[held])
    # Half-way between corners 1.4 mm apart teeth reached 0.7 mm either way.
    assert np.abs(cut.vertices[edges[:, 0]] @ way - 6).max() < 0.45
    turns, lengths = _turns(cut.vertices, edges)
    assert np.average(turns > 25, weights=lengths) < 0.02
    assert cut.areas_mm2[held].sum() == pytest.approx(2 * np.pi * 20 * (20 - 6), rel=0.01)


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
