"""Light between faces across the air, against closed forms; findings and pictures read one sum."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.findings.luminance import looks_of
from glowsim.findings.report import findings_of
from glowsim.geometry.mesh import Mesh
from glowsim.optics.emission import luminance_shape
from glowsim.optics.exact import gauss_legendre
from glowsim.pictures.shade import shading_of
from glowsim.pictures.stage import stage_of
from glowsim.scene import Room
from glowsim.transport.air import air_between
from glowsim.transport.exchange import MATTERS, crossing_share
from glowsim.transport.result import SurfaceGlow
from tests.pictures.glows import body_glow, glow_of, moved, scene_with, sphere
from tests.support.viewfactors import cavity_multiplier, coaxial_discs

DARK = Room(illuminance_lx=0.0)


def disc(radius_mm: float, height_mm: float, up: bool, rings: int = 12, spokes: int = 48) -> Mesh:
    """A level disc about the z axis that faces up or down; as large as the circle."""
    # The corners of a polygon of so many sides, for its area to be that of the circle.
    out = radius_mm * np.sqrt(2 * np.pi / spokes / np.sin(2 * np.pi / spokes))
    away, turn = np.linspace(0, out, rings + 1)[1:], 2 * np.pi * np.arange(spokes) / spokes
    x, y = (np.outer(away, wave(turn)).ravel() for wave in (np.cos, np.sin))
    points = np.vstack([[0, 0, height_mm], np.column_stack([x, y, np.full(x.size, height_mm)])])
    faces = []
    for k in range(spokes):
        after = (k + 1) % spokes
        faces.append([0, 1 + k, 1 + after])
        for ring in range(rings - 1):
            a, b = 1 + ring * spokes + k, 1 + ring * spokes + after
            faces += [[a, a + spokes, b + spokes], [a, b + spokes, b]]
    corners = np.array(faces)
    return Mesh.single_part(points, corners if up else corners[:, ::-1])


def over_each_other(
    white: float, index: float | None = None, radius_mm: float = 30.0, apart_mm: float = 25.0
) -> SurfaceGlow:
    """A black disc that glows, facing down, above a white one."""
    lamp = body_glow(disc(30.0, apart_mm, up=False), 1000.0, index=index)
    plate = body_glow(disc(radius_mm, 0.0, up=True), whiteness=white, glows=False)
    return glow_of([lamp, plate])


def mean_back(glow: SurfaceGlow, body: int) -> float:
    """What a body sends back, the mean over its faces [lm/m2]."""
    lit = [glow.exitance_lm_mm2(copy).T for copy in glow.copies]
    dark = np.zeros_like(np.concatenate(lit))
    arriving = glow.air.arriving(np.concatenate(lit), dark, glow.hollows)
    back = (glow.air.white * arriving).sum(axis=1)
    sizes = np.cumsum([len(b.glows) for b in glow.bodies])[:-1]
    area = glow.bodies[body].surface.areas_mm2
    return float(area @ np.split(back, sizes)[body] / area.sum() * 1e6)


@pytest.mark.parametrize("apart_mm", [10.0, 25.0, 60.0])
def test_a_luminous_disc_over_a_white_one(apart_mm):
    """rho F M, with the view factor of two coaxial discs. 300 000 rays: 0.5 % of noise."""
    view = coaxial_discs(radius_from_mm=30.0, radius_to_mm=30.0, distance_mm=apart_mm)
    got = mean_back(over_each_other(0.8, apart_mm=apart_mm), 1)
    assert got == pytest.approx(0.8 * float(view) * 1000.0, rel=0.01)


def test_bare_foam_shines_further_straight_ahead():
    """On its axis a disc gives M 2 int s mu dmu over the directions it fills (derived)."""
    height = 60.0
    edge = height / np.hypot(30.0, height)
    mu, weight = gauss_legendre(edge, 1.0, 40)
    for n in (None, 1.0, 1.5):
        shape = luminance_shape(mu, n=0.0 if n is None else n)
        got = mean_back(over_each_other(1.0, n, radius_mm=3.0, apart_mm=height), 1)
        assert got == pytest.approx(1000.0 * float(2 * weight @ (shape * mu)), rel=0.015)


@pytest.mark.parametrize("white", [0.3, 0.9])
def test_a_glowing_bowl_brightens_itself(white):
    """Half a sphere with a wall that glows evenly: each place sees 1/2 wall and 1/2 opening, and
    the wall lets out 1 / (1 - rho / 2) of its own light, as in an integrating sphere."""
    flat = disc(1.0, 0.0, up=True)
    away = np.linalg.norm(flat.vertices, axis=1)
    tilt = np.pi / 2 * away / away.max()
    out = flat.vertices[:, :2] / np.maximum(away, 1e-9)[:, None]
    points = 50.0 * np.column_stack([out * np.sin(tilt)[:, None], -np.cos(tilt)])
    bowl = Mesh.single_part(points, flat.faces)
    glow = glow_of([body_glow(bowl, 100.0, whiteness=white)])
    whole = float(cavity_multiplier(reflectance=white, port_fraction=0.5)) / white
    # 48 flat sides stand for the round: the opening is 0.3 % smaller.
    assert mean_back(glow, 0) == pytest.approx(100.0 * (whole - 1), rel=0.01)
    assert crossing_share(glow) == pytest.approx(whole - 1, rel=0.03)


def test_black_paint_sends_nothing_back():
    assert mean_back(over_each_other(0.0), 1) == 0.0


def test_light_that_falls_back_into_a_hole_is_counted():
    """A matt disc M over a white plate gets rho M sum F^2 A_disc / A_ring back from its rings, F
    being the view factor from the disc to each (derived)."""
    hole = body_glow(disc(30.0, 20.0, up=False), 1000.0, glows=False)
    hole = replace(hole, hole=np.ones_like(hole.hole))
    plate = body_glow(disc(300.0, 0.0, up=True, rings=40), whiteness=0.8, glows=False)
    glow = glow_of([hole, plate])
    first = np.zeros((len(hole.glows) + len(plate.glows), 3))
    first[: len(hole.glows), 1] = 1000.0
    arriving = glow.air.arriving(first, 0 * first, glow.hollows)[: len(hole.glows), 1]
    r = np.linspace(0, 300, 3001)
    inside = coaxial_discs(radius_from_mm=30.0, radius_to_mm=r[1:], distance_mm=20.0)
    ring_mm2 = np.pi * np.diff(r**2)
    back = 800.0 * float((np.diff(inside, prepend=0.0) ** 2 * np.pi * 900.0 / ring_mm2).sum())
    area = hole.surface.areas_mm2
    # Smoothing over the plate, by some millimetres, evens out a little of it.
    assert area @ arriving / area.sum() == pytest.approx(back, rel=0.02)


def test_light_lost_in_an_open_hollow_is_said():
    shell = body_glow(disc(30.0, 20.0, up=False), 1000.0, whiteness=0.9)
    hole = np.linalg.norm(shell.surface.centroids[:, :2], axis=1) < 20
    white = np.where(hole[:, None], 0.0, shell.whiteness)
    shell = replace(shell, hole=hole, glows=~hole, whiteness=white)
    glow = glow_of([shell, over_each_other(0.8).bodies[1]])
    glow = replace(glow, copies=(glow.copies[0], replace(glow.copies[1], lights=())))
    (look,) = looks_of(glow, DARK)
    assert look.fallen_share > MATTERS
    notes = findings_of(glow, scene_with()).notes
    assert any("is left out: it is somewhat brighter" in note for note in notes)
    assert looks_of(glow, DARK, across=False)[0].fallen_share == 0.0


def test_a_convex_body_gets_nothing_back_and_findings_do_not_change():
    glow = glow_of([body_glow(sphere(30.0), 500.0, whiteness=0.9)])
    assert crossing_share(glow) == 0.0
    one, other = looks_of(glow, DARK), looks_of(glow, DARK, across=False)
    np.testing.assert_array_equal(one[0].luminance_cd_m2, other[0].luminance_cd_m2)


def test_a_white_cup_behind_a_gem_counts_in_findings_as_in_pictures():
    gem = body_glow(sphere(20.0, 4), 1000.0, whiteness=0.6)
    ball = sphere(28.0, 4)
    low = ball.centroids[:, 2] < 0
    cup = body_glow(
        Mesh.single_part(ball.vertices, ball.faces[low][:, ::-1]), whiteness=0.9, glows=False
    )
    glow = glow_of([gem, cup])
    glow = replace(glow, copies=(glow.copies[0], replace(glow.copies[1], lights=())))
    (look,) = looks_of(glow, DARK)
    (own,) = looks_of(glow, DARK, across=False)
    area, height = gem.surface.areas_mm2, gem.surface.centroids[:, 2]
    share = area @ look.across_cd_m2 / (area @ own.luminance_cd_m2)
    assert share == pytest.approx(crossing_share(glow), rel=0.05)
    assert share > 0.2
    np.testing.assert_allclose(
        look.luminance_cd_m2, own.luminance_cd_m2 + look.across_cd_m2, rtol=1e-6
    )
    # From 20 (1 - (20 / 28)^2)^(1/2) = 14 mm up no cup is seen, but by the tail of the smoothing.
    assert look.across_cd_m2[height < 0].mean() > 100 * look.across_cd_m2[height > 17].mean()
    shading = shading_of(glow, stage_of(glow), DARK)
    corners = shading.across[shading.stage.corner[: len(area)], 1].mean(axis=1)
    assert area @ corners == pytest.approx(area @ look.across_cd_m2, rel=0.005)
    said = [note for note in findings_of(glow, scene_with()).notes if "light each other" in note]
    assert len(said) == 1


def test_bodies_far_apart_are_left_alone():
    ball = body_glow(sphere(20.0), 1000.0, whiteness=0.9)
    for apart, counts in ((50.0, True), (300.0, False)):
        glow = glow_of([ball], [(0, moved(0, 0, 0)), (0, moved(apart, 0, 0))])
        assert (crossing_share(glow) > MATTERS) == counts
        assert looks_of(glow, DARK)[0].across_cd_m2.any() == counts
        notes = findings_of(glow, scene_with()).notes
        assert any("light each other" in note for note in notes) == counts


def test_levels_need_no_new_rays_and_it_is_the_same_every_time():
    glow = over_each_other(0.8)
    glow.air  # noqa: B018
    half = glow.driven({"all": np.full(3, 0.5)})
    assert half.air is glow.air
    assert mean_back(half, 1) == pytest.approx(mean_back(glow, 1) / 2, rel=1e-6)
    again = air_between(glow.faces, glow.bodies, glow.copies)
    assert (again.leaning != glow.air.leaning).nnz == 0
