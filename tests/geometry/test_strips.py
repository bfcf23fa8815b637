"""Strips along a path: where their LEDs sit, what is too short or too tight, how they fit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.catalogue import load_catalogue
from glowsim.decisions.placer import pattern_light
from glowsim.errors import GeometryError, SceneError
from glowsim.geometry.boards import board_frame, board_shape
from glowsim.geometry.strips import pieces_mm
from glowsim.scene import Light, parse_scene, read_scene, write_scene
from glowsim.tomlfile import parse_toml
from glowsim.transport.build import build_problem
from glowsim.transport.fit import misfits
from glowsim.transport.plan import plan_of

PITCH = 1000 / 60


def strip(points, count, **keys):
    return Light.model_validate({"board": "strip_60", "path_mm": points, "led_count": count} | keys)


def circle(radius, steps=72):
    turn = np.linspace(0, 2 * np.pi, steps + 1)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn]).tolist()


def scene_of(lights):
    text = '[[bodies]]\nname = "bowl"\nmaterial = "pla_white"\nwall_mm = 2\n'
    text += 'shape = { kind = "orb", diameter_mm = 140 }\n'
    return parse_scene(text + lights)


BROW = """\
[[bodies.lights]]
board = "rgb_5050_18ma"
position_mm = [0, 0, -40]
[[bodies.lights]]
name = "brow"
board = "strip_60"
led_count = 6
path_mm = [[-40, 0, 10], [0, -40, 10], [40, 0, 10]]
facing = "outward"
"""


@pytest.mark.parametrize("count", [12, 24])
def test_a_strip_round_a_circle_stands_like_a_ring(count):
    radius = count * PITCH / (2 * np.pi)
    light = strip(circle(radius), count, facing="outward")
    middles, along, facing, _ = pieces_mm(light, PITCH * 0.99999, 1.9)
    turn = (np.arange(count) + 0.5) * 2 * np.pi / count
    out = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    # LEDs sit in the middle of chords: inside the circle by the chord's height.
    assert_allclose(middles, radius * np.cos(np.pi / count) * out, atol=0.01)
    assert_allclose(facing, out, atol=2e-3)
    assert_allclose(np.einsum("nd,nd->n", facing, along), 0, atol=1e-12)
    inward = pieces_mm(light.model_copy(update={"facing": "inward"}), PITCH * 0.99999, 1.9)[2]
    assert_allclose(inward, -facing, atol=1e-9)


@pytest.mark.parametrize("start", [3 * PITCH, 10 * PITCH])
def test_a_strip_slid_round_a_circle_is_turned_about_it(start):
    light = strip(circle(12 * PITCH / (2 * np.pi)), 5, facing="outward")
    there, along, facing, _ = pieces_mm(light.model_copy(update={"start_mm": start}), PITCH, 1.9)
    turn = 2 * np.pi * start / (12 * PITCH)
    turned = np.array(
        [[np.cos(turn), np.sin(turn), 0], [-np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
    )
    here = pieces_mm(light, PITCH, 1.9)
    for now, was in zip((there, along, facing), here, strict=False):
        assert_allclose(now, was @ turned, atol=0.01)


def test_a_strip_along_a_straight_path_is_the_straight_strip():
    text = """\
[[bodies.lights]]
board = "strip_60"
led_count = 4
{where}
direction = [0, -1, 0]
"""
    middle = 2 * 16.667
    bent = scene_of(text.format(where=f"path_mm = [[0, 0, 0], [0, 0, {2 * middle}]]"))
    straight = scene_of(text.format(where=f"position_mm = [0, 0, {middle}]\nalong = [0, 0, 1]"))
    one, other = (build_problem(scene).bodies[0] for scene in (bent, straight))
    assert_allclose(one.emitters.position, other.emitters.position, atol=1e-3)
    assert_allclose(one.emitters.direction, other.emitters.direction, atol=1e-9)
    corners = np.vstack([board.shape.mesh().vertices for board in one.boards])
    whole = other.boards[0].shape.mesh()
    assert_allclose([corners.min(axis=0), corners.max(axis=0)], whole.bounds, atol=2e-3)
    volume = sum(board.shape.mesh().volume_mm3 for board in one.boards)
    assert_allclose(volume, whole.volume_mm3, rtol=1e-4)


def test_a_bent_strip_is_a_chain_of_boards_that_fits():
    plan = plan_of(scene_of(BROW))
    lights = plan.scene_file.scene.bodies[0].lights
    assert [light.name for light in lights[1:]] == [f"brow, LED {k}" for k in range(1, 7)]
    (body,) = build_problem(scene_of(BROW)).bodies
    assert len(body.boards) == 7
    assert misfits(body) == ()
    for k, light in enumerate(lights[1:], start=1):
        frame = board_frame(light)
        assert frame is not None
        shape = board_shape(light, plan.catalogue.board(light.board))
        assert shape is not None
        assert 14 < shape.size_mm[0] < PITCH
        assert_allclose(shape.frame, body.boards[k].shape.frame)


def test_two_strips_in_one_place_are_told():
    twice = BROW + BROW[BROW.index('[[bodies.lights]]\nname = "brow"') :].replace("brow", "lid")
    (body,) = build_problem(scene_of(twice)).bodies
    assert any("into the board of light" in misfit.what for misfit in misfits(body))


@pytest.mark.parametrize(
    ("points", "count", "keys", "told"),
    [
        ([[0, 0, 0], [50, 0, 0]], 4, {}, r"50\.0 mm long, and 4 LEDs .* it has room for 3"),
        (
            [[0, 0, 0], [40, 0, 0], [40, 6, 0], [0, 6, 0]],
            3,
            {},
            r"bends to a radius of \d\.\d mm about .* the strip takes 10 mm \(least_bend_mm\)",
        ),
        ([[0, 0, 0], [0, 0, 90]], 4, {}, "runs the way it should face"),
        ([[0, 0, 0], [90, 0, 0]], 4, {"facing": "outward"}, "runs the way it should face"),
        ([[5, 5, 5], [5, 5, 5]], 1, {}, "has no length"),
        ([[0, 0, 0], [90, 0, 0]], 3, {"start_mm": 41}, r"begin at 40\.0 mm at the latest"),
    ],
    ids=["short", "tight", "along its face", "outward of a line", "a point", "late"],
)
def test_paths_a_strip_cannot_take(points, count, keys, told):
    with pytest.raises(GeometryError, match=told):
        pieces_mm(strip(points, count, **keys), PITCH, 1.9)


def test_corners_are_cut_and_wired():
    corner = [[0, 0, 0], [40, 0, 0], [40, 40, 0]]
    middles, *_ = pieces_mm(strip(corner, 4, path_smooth=False), PITCH, 1.9)
    assert_allclose(middles[0], [PITCH / 2, 0, 0])
    assert_allclose(middles[-1], [40, 3.5 * PITCH - 40, 0], atol=1e-9)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("path_mm = [[0, 0, 0], [90, 0, 0]]", r"lights\[0\]: path_mm needs led_count"),
        ("led_count = 2", r"line 6: bodies\[0\]\.lights\[0\]\.position_mm: this key is needed"),
        ("led_count = 2\nposition_mm = [0, 0, 0]\nstart_mm = 5", "give path_mm, path_inside or"),
        (
            "led_count = 2\nposition_mm = [0, 0, 0]\npath_mm = [[0, 0, 0], [90, 0, 0]]",
            "leave out position_mm and along",
        ),
    ],
)
def test_a_light_stands_at_a_place_or_along_a_path(keys, told):
    with pytest.raises(SceneError, match=told):
        scene_of(f'[[bodies.lights]]\nboard = "strip_60"\n{keys}\n')


def test_faults_name_the_light_as_it_is_written():
    deep = BROW.replace("[0, -40, 10]", "[0, -78, 10]").replace("led_count = 6", "led_count = 9")
    deep += "least_bend_mm = 5\n"
    with pytest.raises(
        SceneError, match=r"line 13: bodies\[0\]\.lights\[1\]\.path_mm: an LED at .* outside"
    ):
        build_problem(scene_of(deep))
    with pytest.raises(SceneError, match=r"line 13: bodies\[0\]\.lights\[1\]\.path_mm: the path"):
        plan_of(scene_of(BROW.replace("led_count = 6", "led_count = 60")))
    with pytest.raises(
        SceneError, match=r"line 9: bodies\[0\]\.lights\[1\]: what runs along a path"
    ):
        pattern_light(plan_of(scene_of(BROW)), 0, None)


@given(
    st.lists(st.tuples(*[st.floats(-60, 60)] * 3), min_size=2, max_size=7),
    st.booleans(),
    st.floats(0, 80),
)
@settings(max_examples=40, deadline=None)
def test_any_path_gives_leds_or_one_message(points, smooth, start):
    try:
        found = pieces_mm(strip(points, 3, path_smooth=smooth, start_mm=start), PITCH, 1.9)
    except GeometryError as problem:
        told = str(problem)
    else:
        told = ""
        assert all(np.isfinite(values).all() for values in found)
        assert (found[3] > 0).all()
        assert (found[3] <= PITCH * (1 + 1e-9)).all()
    assert "\n" not in told


def test_the_catalogues_strips_have_a_pitch():
    catalogue = load_catalogue(parse_toml("", "scene", SceneError), {})
    strips = [b for b in catalogue.boards.values() if b.kind == "strip"]
    assert strips
    assert all(board.pitch_mm for board in strips)


INSIDE = """\
[[bodies.lights]]
board = "strip_60"
led_count = 12
path_inside = {{ height_mm = {height}, from_deg = -30{more} }}
"""


@pytest.mark.parametrize(
    ("height", "more"), [(0, ""), (30, ", off_mm = 6"), (30, ", to_deg = -390")]
)
def test_a_strip_along_the_inside_wall_stands_like_a_ring_in_an_orb(height, more):
    lights = (
        plan_of(scene_of(INSIDE.format(height=height, more=more))).scene_file.scene.bodies[0].lights
    )
    places = np.array([light.position_mm for light in lights])
    off, inner = 6.0 if "off" in more else 2.9, 68.0
    share = (inner - off) / inner  # toward the middle from where the wall is at that height
    radius = share * np.sqrt(inner**2 - height**2)
    half = PITCH / 2 / radius
    turn = np.radians(-30) + (np.arange(12) + 0.5) * 2 * half * (-1 if "to_deg" in more else 1)
    ring = np.column_stack([np.cos(turn), np.sin(turn)]) * radius * np.cos(half)
    # What the orb's facets and the chords between the path's points leave open.
    assert_allclose(places[:, :2], ring, atol=0.5)
    assert_allclose(places[:, 2], share * height, atol=0.15)
    faces = np.array([light.direction for light in lights])
    along = np.array([light.along for light in lights])
    inward = -places / np.linalg.norm(places, axis=1, keepdims=True)
    inward -= np.einsum("nd,nd->n", inward, along)[:, None] * along
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    assert np.einsum("nd,nd->n", faces, inward).min() > np.cos(np.radians(3))


def test_a_path_along_the_wall_is_written_and_read_back(tmp_path):
    scene = scene_of(INSIDE.format(height=0, more="")).scene
    write_scene(scene, tmp_path / "bowl.toml")
    assert read_scene(tmp_path / "bowl.toml").scene == scene


def test_a_strip_faces_the_wall_or_from_it():
    text = BROW.replace('"outward"', '"{}"')
    one, other = (
        np.array(
            [
                light.direction
                for light in plan_of(scene_of(text.format(way)))
                .scene_file.scene.bodies[0]
                .lights[1:]
            ]
        )
        for way in ("to_wall", "from_wall")
    )
    assert_allclose(one, -other, atol=1e-9)


def test_an_inside_wall_that_is_not_there_is_told():
    high = INSIDE.format(height=80, more="")
    with pytest.raises(
        SceneError, match=r"path_inside: there is no inside wall at 80 mm; it reaches"
    ):
        plan_of(scene_of(high))
    solid = parse_scene(
        '[[bodies]]\nname = "ball"\nmaterial = "pla_white"\n'
        'shape = { kind = "orb", diameter_mm = 140 }\n' + INSIDE.format(height=0, more="")
    )
    with pytest.raises(SceneError, match="'ball' has no inside wall"):
        plan_of(solid)
    with pytest.raises(SceneError, match="leave one out"):
        scene_of(BROW + "path_inside = { height_mm = 0 }\n")
