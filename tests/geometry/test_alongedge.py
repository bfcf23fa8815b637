"""Strips and chains along an edge of their body: a rim, a region's border, a sharp edge."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.errors import SceneError
from glowsim.geometry.strips import path_strips
from glowsim.scene import parse_scene, read_scene, write_scene
from glowsim.transport.build import build_problem
from glowsim.transport.fit import misfits
from glowsim.transport.plan import plan_of
from tests.support import shells

BLADE = """\
[[bodies]]
name = "blade"
material = "pla_white"
shape = { kind = "cut", thickness_mm = 12, edge = "square", outline = { points_mm = [[-40, 0], \
[40, 0], [40, 160], [-40, 160]] } }
"""
FRONT = 'edge = "sharp", near_mm = [0, -6, 80], inside_mm = 8, depth_mm = 5'
ORB = """\
[[bodies]]
name = "orb"
material = "pla_white"
shape = { kind = "orb", diameter_mm = 100 }
"""
BOWL = """\
[[bodies]]
name = "bowl"
mesh = { file = "bowl.stl", units = "mm" }
material = "pla_white"
"""


def scene_of(body, path, keys="pitch_mm = 20", board="rgb_5050_18ma", folder=None):
    light = f'[[bodies.lights]]\nname = "hem"\nboard = "{board}"\n{keys}\n'
    return parse_scene(body + light + f"path_along = {{ {path} }}\n", folder=folder)


def lights_of(*args, **keys):
    lights = plan_of(scene_of(*args, **keys)).scene_file.scene.bodies[0].lights
    return tuple(
        np.array([getattr(x, key) for x in lights]) for key in ("position_mm", "direction")
    )


def to_outline(places):
    """Return how far places lie within the blade's outline, (n,) [mm]."""
    x, _, z = places.T
    return np.min([40 - x, x + 40, z, 160 - z], axis=0)


@pytest.mark.parametrize(
    "path", [FRONT, FRONT.replace('edge = "sharp"', 'edge = "border", of = { part = "front" }')]
)
def test_a_chain_beneath_the_edge_of_a_face_keeps_its_distances(path):
    (piece, *_) = plan_of(scene_of(BLADE, path)).scene_file.scene.bodies[0].lights
    edge = "border" if "border" in path else "edge"
    assert piece.runs.startswith(f"8 mm in from the {edge}, 5 mm deep, from (32.0, -1.0, 8.")
    places, faces = lights_of(BLADE, path)
    assert len(places) == int(2 * (64 + 144) / 20)
    assert_allclose(to_outline(places), 8, atol=0.6)  # a smooth path swings out at corners
    assert_allclose(to_outline(places)[np.abs(places[:, 2] - 80) < 50], 8, atol=0.01)
    assert_allclose(places[:, 1], -6 + 5, atol=1e-6)
    assert_allclose(faces, [[0, -1, 0]] * len(faces), atol=1e-6)
    (body,) = build_problem(scene_of(BLADE, path)).bodies
    assert not any(misfit.blocks for misfit in misfits(body))


@pytest.mark.parametrize(
    ("via", "to", "x"),
    [("", "40, -6, 40", (-32, 32)), (", via_mm = [0, -6, 152]", "40, -6, 40", (-32, 32)),
     ("", "-40, -6, 120", (-32, -32))],
    ids=["the short way", "the long way", "one side"],
)  # fmt: skip
def test_a_path_runs_from_one_point_to_another_by_the_way_that_is_meant(via, to, x):
    path = f'edge = "sharp", near_mm = [0, -6, 80], from_mm = [-40, -6, 40], to_mm = [{to}]{via}'
    places, _ = lights_of(BLADE, f"{path}, inside_mm = 8, depth_mm = 5", "board_count = 9")
    assert_allclose(places[[0, -1], 0], x, atol=0.05)
    assert_allclose(places[0], [-32, -1, 40], atol=0.05)
    high = places[:, 2].max() > 150
    assert high == bool(via)


def test_corners_of_an_edge_are_cut_and_wired_or_refused():
    keys = "led_count = 20\npath_smooth = false"
    places, _ = lights_of(BLADE, FRONT, keys, board="strip_60")
    # Chords across the corners lie inside; everywhere else the strip is at its distance.
    assert np.median(np.abs(to_outline(places) - 8)) < 0.05
    assert (to_outline(places) > 7.9).all()
    with pytest.raises(SceneError, match=r"path_along: the path bends .* path_smooth = false"):
        lights_of(BLADE, FRONT, "led_count = 20", board="strip_60")


def test_a_strip_along_a_rim_is_a_ring_in_a_bowl(tmp_path):
    mesh = shells.bowl(radius=40, wall=2, fine=64)
    trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(tmp_path / "bowl.stl")
    path, keys = 'edge = "rim", inside_mm = 10, depth_mm = 4', "led_count = 8"
    scene = scene_of(BOWL, path, keys, board="strip_60", folder=tmp_path)
    (body,) = build_problem(scene).bodies
    lights = plan_of(scene).scene_file.scene.bodies[0].lights
    places, faces = (
        np.array([getattr(x, key) for x in lights]) for key in ("position_mm", "direction")
    )
    # 10 mm straight from the rim of a wall of 38 mm, then 4 mm toward the middle.
    below = 2 * np.arcsin(10 / 2 / 38)
    height, radius = -34 * np.sin(below), 34 * np.cos(below)
    half = 1000 / 60 / 2 / radius
    assert_allclose(places[:, 2], height, atol=0.2)
    assert_allclose(np.hypot(*places[:, :2].T), radius * np.cos(half), atol=0.3)
    away = -places / np.linalg.norm(places, axis=1, keepdims=True)
    assert np.einsum("nd,nd->n", faces, away).min() > np.cos(np.radians(4))
    (strip,) = path_strips(scene, 0, plan_of(scene).catalogue)
    assert strip.track.closed
    assert strip.track.length_mm == pytest.approx(2 * np.pi * radius, rel=0.01)
    assert body.wall_mm == pytest.approx(2, rel=0.05)
    assert not any(misfit.blocks for misfit in misfits(body))


def test_left_to_itself_a_strip_on_a_rim_lies_on_the_wall(tmp_path):
    mesh = shells.bowl()
    trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(tmp_path / "bowl.stl")
    scene = scene_of(BOWL, 'edge = "rim", inside_mm = 12', "board_count = 5", folder=tmp_path)
    (body,) = build_problem(scene).bodies
    assert misfits(body) == ()


def test_a_border_at_a_height_is_a_circle():
    path = 'edge = "border", of = { above_mm = 20 }, inside_mm = 10, depth_mm = 12'
    places, faces = lights_of(ORB, path, "board_count = 6")
    up = np.arcsin(20 / 50) + 2 * np.arcsin(10 / 2 / 50)
    assert_allclose(np.linalg.norm(places, axis=1), 50 - 12, atol=0.3)
    assert_allclose(places[:, 2], 38 * np.sin(up), atol=0.3)
    assert np.einsum("nd,nd->n", faces, places).min() > 0.98 * 38
    # It begins toward +x and runs counter-clockwise as seen from above.
    turns = np.unwrap(np.arctan2(places[:, 1], places[:, 0]))
    assert_allclose(turns, np.arange(6) * np.pi / 3, atol=0.05)


@pytest.mark.parametrize(
    ("body", "path", "told"),
    [
        (ORB, 'edge = "rim"', "path_along: 'orb' is no shell, so it has no rim"),
        (ORB + "wall_mm = 2\n", 'edge = "rim"', "'orb' is closed all round, so it has no rim"),
        (ORB, 'edge = "sharp", near_mm = [0, 0, 50], depth_mm = 5', r"about .* runs on smoothly"),
        (ORB, 'edge = "border", of = { above_mm = -60 }, depth_mm = 5', "covers all of 'orb'"),
        (ORB, 'edge = "border", of = { part = "tip" }, depth_mm = 5', "has no part 'tip'"),
        (ORB, 'edge = "border", depth_mm = 5', 'of belongs to edge = "border"'),
        (ORB, 'edge = "sharp", depth_mm = 5', "needs near_mm"),
        (BLADE, FRONT.replace(", depth_mm = 5", ""), "depth_mm is needed"),
        (BLADE, FRONT + ", to_mm = [0, 0, 0]", "to_mm needs from_mm"),
        (BLADE, FRONT + ", via_mm = [0, 0, 0]", "via_mm needs from_mm and to_mm"),
        (BLADE, FRONT.replace("= 8", "= 41"), r"no line lies 41 mm in from the edge about"),
        (BLADE, FRONT + ", from_mm = [-40, -6, 9], to_mm = [-44, -6, 9]", "lie at one place"),
    ],
)  # fmt: skip
def test_an_edge_that_is_not_there_is_told_in_one_line(body, path, told):
    with pytest.raises(SceneError, match=told) as message:
        lights_of(body, path)
    assert "\n" not in str(message.value)


@pytest.mark.parametrize("keys", ["", "direction = [0, 0, 1]\n", 'facing = "direction"\n'])
def test_a_path_along_an_edge_is_written_and_read_back(tmp_path, keys):
    scene = scene_of(BLADE, FRONT, f"{keys}pitch_mm = 40")
    write_scene(scene.scene, tmp_path / "blade.toml")
    again = read_scene(tmp_path / "blade.toml")
    assert again.scene == scene.scene
    one, other = (plan_of(each).scene_file.scene.bodies[0].lights[0] for each in (scene, again))
    assert one.direction == other.direction
    assert one.direction == ((0, 0, 1) if keys else (0, -1, 0))


POINT = st.tuples(*[st.integers(-60, 60)] * 3).map(list)


@given(
    st.sampled_from([ORB, BLADE]),
    st.one_of(
        st.integers(-60, 60).map(lambda z: f'edge = "border", of = {{ above_mm = {z} }}'),
        POINT.map(lambda p: f'edge = "border", of = {{ centre_mm = {p}, radius_mm = 25 }}'),
        POINT.map(lambda p: f'edge = "sharp", near_mm = {p}'),
    ),
    st.integers(0, 30),
    st.one_of(st.just(""), st.tuples(POINT, POINT).map(
        lambda ends: f", from_mm = {ends[0]}, to_mm = {ends[1]}")),
)  # fmt: skip
@settings(max_examples=12, deadline=None)
def test_any_edge_gives_boards_or_one_message(body, edge, inside, ends):
    told = ""
    try:
        places, faces = lights_of(body, f"{edge}, inside_mm = {inside}, depth_mm = 6{ends}")
    except SceneError as problem:
        told = str(problem)
    assert "\n" not in told
    if not told:
        assert np.isfinite(places).all()
        assert_allclose(np.linalg.norm(faces, axis=1), 1, atol=1e-5)
