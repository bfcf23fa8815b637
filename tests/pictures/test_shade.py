"""Luminance of the surface: glow, bundles, room light and one bounce."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.geometry.mesh import Mesh
from glowsim.optics.colour import black_body_xyz
from glowsim.optics.emission import MATT, luminance_shape, square_on
from glowsim.pictures.camera import framed
from glowsim.pictures.room import (
    GROUND,
    Backdrop,
    Table,
    illuminance_xyz,
    open_share,
    reflected_cd_m2,
    sight,
)
from glowsim.pictures.shade import glows_seen, shading_of
from glowsim.pictures.stage import stage_of
from glowsim.pictures.visibility import points_seen, view_of
from glowsim.scene import Room
from tests.pictures.glows import NEUTRAL, body_glow, box, glow_of, moved, sphere
from tests.pictures.test_lobe import half_space
from tests.support.viewfactors import element_to_sphere

DARK = Room(illuminance_lx=0.0)


def seen_by(glow, room: Room, **angles: float):
    stage = stage_of(glow)
    shading = shading_of(glow, stage, room)
    camera = framed(
        stage.points,
        azimuth_deg=angles.get("azimuth_deg", 20),
        elevation_deg=angles.get("elevation_deg", 10),
        distance_mm=2000,
        size=(240, 240),
    )
    points = points_seen(
        stage.triangles, camera, view_of(stage.triangles, stage.rays, "embree")(camera)
    )
    return stage, camera, points, shading.seen(points, camera)


def test_a_uniform_matt_sphere_is_equally_bright_everywhere() -> None:
    ball = body_glow(sphere(50.0, 4), 600.0)
    _, camera, points, value = seen_by(glow_of([ball]), DARK)
    # L = M / pi; single precision.
    assert_allclose(value, np.broadcast_to(600 / np.pi * NEUTRAL, value.shape), rtol=1e-5)
    # Its intensity is L pi R^2 = M R^2 (derived). The disc's edge is worth about 1 % of 190
    # pixels across; perspective at 2 m widens it by 0.1 %.
    pixel_m2 = (camera.pixel_mm(2000.0) / 1000) ** 2
    assert_allclose(value[:, 1].sum() * pixel_m2, 600 * 0.05**2, rtol=0.01)
    assert len(points.row) == len(value)


@pytest.mark.parametrize("n", [1.0, 1.5])
def test_a_bare_sphere_darkens_toward_its_limb(n: float) -> None:
    ball = body_glow(sphere(50.0, 5), 600.0, index=n)
    _, camera, points, value = seen_by(glow_of([ball]), DARK)
    radius = 50.0 / camera.pixel_mm(2000.0)
    middle = np.array([points.row.mean(), points.column.mean()])
    away = np.hypot(points.row - middle[0], points.column - middle[1]) / radius
    cosine = np.sqrt(np.maximum(1 - away**2, 0))
    inside = cosine > 0.2
    # A pixel is a hundredth of the radius; the facets of the ball are seen to 1 in 1000.
    expected = luminance_shape(cosine[inside], n=n) * 600 / np.pi
    assert_allclose(value[inside, 1], expected, rtol=0.03)
    assert_allclose(value[away < 0.05, 1], square_on(n) * 600 / np.pi, rtol=0.003)
    # Whatever the shape, the intensity of the ball is M R^2 (derived): what is bright in the middle
    # is dark at the limb.
    pixel_m2 = (camera.pixel_mm(2000.0) / 1000) ** 2
    assert_allclose(value[:, 1].sum() * pixel_m2, 600 * 0.05**2, rtol=0.01)


def test_a_coat_makes_a_bare_body_matt() -> None:
    index = np.where(sphere(50.0, 4).centroids[:, 2] > 0, 1.0, MATT)
    ball = replace(body_glow(sphere(50.0, 4), 600.0), index=index)
    stage, _, points, value = seen_by(glow_of([ball]), DARK)
    below = stage.centroids[points.triangle, 2] < 0
    assert_allclose(value[below, 1], 600 / np.pi, rtol=1e-5)
    assert value[~below, 1].max() > 1.2 * 600 / np.pi


def test_direct_light_leaves_with_its_whole_flux() -> None:
    plate = Mesh.single_part(
        np.array([[-10, -10, 0], [10, -10, 0], [10, 10, 0], [-10, 10, 0.0]]),
        np.array([[0, 1, 2], [0, 2, 3]]),
    )
    way = np.broadcast_to([0.3, 0.1, 0.8], (2, 3)).astype(np.float32)
    glow = glow_of([body_glow(plate, direct_lm_m2=900.0, mean_direction=way)])
    stage = stage_of(glow)
    bundle = shading_of(glow, stage, DARK).bundles[0]
    ways, solid_angle = half_space(200)
    points = points_on(len(ways))
    luminance = np.zeros((len(ways), 3), np.float32)
    bundle.add_to(luminance, stage, points, -ways)
    exitance = (luminance[:, 1] * ways[:, 2] * solid_angle).sum()
    # The table of the bundle's integral: better than 1 %.
    assert_allclose(exitance, 900.0, rtol=0.01)
    brightest = ways[luminance[:, 1].argmax()]
    assert brightest @ np.array([0.3, 0.1, 0.8]) / np.sqrt(0.74) > 0.999


def points_on(count: int):
    from glowsim.pictures.visibility import Points

    pixel = np.zeros(count, np.int64)
    return Points(pixel, pixel, pixel, np.full((count, 3), 1 / 3, np.float32))


def test_direct_light_turns_with_its_copy() -> None:
    ball = sphere(20.0)
    way = np.broadcast_to([1.0, 0.0, 0.0], ball.normals.shape).astype(np.float32)
    facing = ball.normals[:, 0] > 0.5
    lit = body_glow(ball, direct_lm_m2=np.where(facing, 100.0, 0.0), mean_direction=way)
    quarter = np.array([[0, 1, 0, 0], [-1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])
    # Turned so that +x becomes -y, where the camera of azimuth 0 stands.
    glow = glow_of([lit], [(0, quarter)])
    _, _, _, front = seen_by(glow, DARK, azimuth_deg=0, elevation_deg=0)
    _, _, _, side = seen_by(glow, DARK, azimuth_deg=60, elevation_deg=0)
    assert front[:, 1].max() > 20 * side[:, 1].max()


def test_room_light_on_open_surfaces() -> None:
    # A level surface gets E, an upright one 0.6 E, one that faces down 0.2 E (see `room`).
    block = body_glow(box(40, 40, 40), whiteness=0.5)
    room = Room(illuminance_lx=200.0)
    stage, _, points, value = seen_by(glow_of([block]), room, elevation_deg=40)
    up = stage.normals[points.triangle, 2]
    # Nothing is in the way of a convex body: no noise, single precision only.
    assert_allclose(value[up > 0.9, 1], 0.5 * 200 / np.pi, rtol=1e-5)
    assert_allclose(value[abs(up) < 0.1, 1], 0.6 * 0.5 * 200 / np.pi, rtol=1e-5)
    assert_allclose(open_share(np.array([[0, 0, -1.0]])), GROUND)
    # The colour is that of a black body at the room's colour temperature.
    assert_allclose(value[0] / value[0, 1], black_body_xyz(room.light_temperature_k), rtol=1e-5)


def test_inside_a_glowing_sphere_light_is_the_same_everywhere() -> None:
    # An integrating sphere: every place receives the exitance of the wall, whatever it faces.
    ball = sphere(50.0)
    inward = Mesh.single_part(ball.vertices, ball.faces[:, ::-1])
    stage = stage_of(glow_of([body_glow(inward, 100.0)]))
    rng = np.random.default_rng(5)
    points = rng.uniform(-20, 20, (50, 3))
    normals = rng.normal(size=(50, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    got = sight(stage, points, normals, 64)
    assert_allclose(got.prop @ np.full(len(ball.faces), 100.0), 100.0, rtol=1e-5)
    # The Hammersley points count the share of light from above to two rays in 64.
    assert_allclose(got.room, 0.0, atol=2 / 64)


def test_outside_a_closed_body_its_inner_side_is_dark() -> None:
    stage = stage_of(glow_of([body_glow(sphere(50.0), 100.0)]))
    got = sight(stage, np.zeros((1, 3)), np.array([[0, 0, 1.0]]), 64)
    assert_allclose(got.prop @ np.full(len(stage.triangles), 100.0), 0.0)


def test_light_from_a_disc_above() -> None:
    # A Lambertian disc of radius a at height h gives M a^2 / (a^2 + h^2) on its axis (derived:
    # the view factor of a coaxial disc).
    angle = 2 * np.pi * np.arange(180) / 180
    rim = np.stack([30 * np.cos(angle), 30 * np.sin(angle), np.full(180, 40.0)], axis=1)
    vertices = np.vstack([[0, 0, 40.0], rim])
    fan = np.column_stack([np.zeros(180), (np.arange(180) + 1) % 180 + 1, np.arange(180) + 1])
    stage = stage_of(glow_of([body_glow(Mesh.single_part(vertices, fan.astype(int)))]))
    got = sight(stage, np.zeros((1, 3)), np.array([[0, 0, 1.0]]), 2048)
    # One ray in 2048 at the rim, and a polygon of 180 sides.
    assert_allclose((got.prop @ np.full(180, 50.0))[0], 50 * 900 / 2500, rtol=0.005)
    assert_allclose(got.room[0], 1 - 900 / 2500, rtol=0.005)


def test_a_glowing_neighbour_lights_a_white_body() -> None:
    white = body_glow(sphere(20.0, 4), whiteness=0.9, glows=False)
    lamp = body_glow(sphere(20.0, 4), 1000.0)
    both = glow_of([white, lamp], [(0, moved(0, 0, 0)), (1, moved(80, 0, 0))])
    stage = stage_of(both)
    lit = shading_of(both, stage, DARK).across[:, 1]
    # Around the place nearest to the lamp, against the view factor of a sphere. Over so many
    # corners there is 0.5 % of noise; smoothing over 2 mm of the curved surface takes 2 %.
    nearest = np.linalg.norm(stage.points - [20, 0, 0], axis=1).argmin()
    near = np.linalg.norm(stage.points - [20, 0, 0], axis=1) < 8
    way = np.array([80.0, 0, 0]) - stage.points[near]
    distance = np.linalg.norm(way, axis=1)
    cosine = np.einsum("nd,nd->n", way, stage.point_normals[near]) / distance
    view = element_to_sphere(cosine, radius_mm=20.0, distance_mm=distance)
    assert_allclose(lit[near].mean(), (0.9 / np.pi * 1000 * view).mean(), rtol=0.03)
    away = (stage.points[:, 0] < -10) & (np.linalg.norm(stage.points, axis=1) < 21)
    # Only the far tail of the smoothing reaches round to the other side.
    assert_allclose(lit[away], 0.0, atol=1e-5 * lit[nearest])


def test_coloured_surfaces_colour_what_they_send_back() -> None:
    light = np.array([[95.047, 100.0, 108.883]])
    red = reflected_cd_m2(light, np.array([[0.5, 0.0, 0.0]]))
    # Half of the red primary's luminance, which is 21.26 % of white (IEC 61966-2-1).
    assert_allclose(red[0, 1], 0.5 * 0.2126 * 100 / np.pi, rtol=1e-3)


def test_the_table_is_lit_by_room_and_prop() -> None:
    stage = stage_of(glow_of([body_glow(sphere(20.0), 5000.0)]))
    room = Room(illuminance_lx=10.0)
    camera = framed(stage.points, azimuth_deg=0, elevation_deg=30, distance_mm=800, size=(120, 120))
    lit = Backdrop(Table(stage), np.full((len(stage.triangles), 3), 5000.0), room).luminance(camera)
    unlit = Backdrop(Table(stage), np.zeros((len(stage.triangles), 3)), room).luminance(camera)
    assert lit.shape == (120, 120, 3)
    assert lit[90, 60, 1] > 5 * unlit[90, 60, 1]
    # Far from the prop the table has nearly all of the room's light: 0.1 E / pi.
    assert_allclose(unlit[2, 2, 1], 0.1 * illuminance_xyz(room)[1] / np.pi, rtol=0.15)


def test_from_below_the_table_there_is_only_the_wall() -> None:
    stage = stage_of(glow_of([body_glow(sphere(20.0))]))
    camera = framed(stage.points, azimuth_deg=0, elevation_deg=-30, distance_mm=800, size=(64, 64))
    room = Room(illuminance_lx=10.0)
    wall = Backdrop(Table(stage), np.zeros((len(stage.triangles), 3)), room).luminance(camera)
    # Upright: 0.6 E times the reflectance of 0.1 over pi.
    assert_allclose(wall[..., 1], 0.06 * 10 / np.pi, rtol=1e-5)


@pytest.mark.parametrize("calm_mm", [0.0, 4.0])
def test_smoothed_glow_keeps_a_uniform_body(calm_mm: float) -> None:
    glow = glow_of([body_glow(sphere(), 300.0)])
    stage, camera, points, _ = seen_by(glow, DARK)
    calm = shading_of(glow, stage, DARK).calmed(calm_mm)
    (value,) = glows_seen([calm], points, camera)
    assert_allclose(value[:, 1], 300 / np.pi, rtol=1e-5)
