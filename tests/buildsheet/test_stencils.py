"""Stencils on the sheet: as large as what the picture covers, where it lies on the body."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image

from glowsim.buildsheet.drawing import Path
from glowsim.buildsheet.paper import area_mm, pages_for
from glowsim.buildsheet.places import body_places
from glowsim.buildsheet.stencils import covered_mm, stencils, wrapped_mm
from glowsim.geometry.body import solid_of
from glowsim.geometry.outlines import area_mm2
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from tests.support.meshes import can

ORB = """\
[[bodies]]
name = "moon"
material = "pla_white"
wall_mm = 2
shape = {{ kind = "orb", diameter_mm = 40 }}
  [[bodies.masks]]
  name = "eye"
  coat = "black_paint"
  where = {{ picture = {{ file = "eye.png", {where} }} }}
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 0]
"""


def moon(folder, where: str, image: Image.Image):
    image.save(folder / "eye.png")
    plan = plan_of(parse_scene(ORB.format(where=where), folder=folder))
    return body_places(plan, 0, solid_of(plan.scene_file, 0), 0.3)


def ring() -> Image.Image:
    y, x = (np.mgrid[:300, :300] + 0.5) / 300 - 0.5
    off = np.abs(np.hypot(x, y) - 0.3) - 0.1
    return Image.fromarray(np.uint8(255 * np.clip(300 * off + 0.5, 0, 1)))


def test_a_ring_is_as_large_as_it_is_and_keeps_its_hole(tmp_path):
    where = "width_mm = 20, seen_from = [1, -1, 0], middle_mm = [0, 0, 6]"
    places = moon(tmp_path, where, ring())
    picture = places.spec.masks[0].where.picture
    assert picture is not None
    covered, body = covered_mm(places, picture, tmp_path)
    assert area_mm2(covered) == pytest.approx(np.pi * (8**2 - 4**2), rel=3e-3)
    middle = np.concatenate(covered).mean(axis=0) - np.concatenate(body).mean(axis=0)
    np.testing.assert_allclose(middle, [0, 6], atol=0.05)
    (drawing,) = stencils(places, tmp_path)
    fills = [item.fill for item in drawing.items if isinstance(item, Path) and item.fill]
    assert fills[-1] == (1.0, 1.0, 1.0)  # the hole lies on top
    drawn = np.vstack([item.points for item in drawing.items if isinstance(item, Path)])
    assert np.ptp(drawn[:, 0]) == pytest.approx(40, abs=0.1)
    assert any("stencil for eye, from (1, -1, 0)" in getattr(i, "text", "") for i in drawing.items)


def test_only_what_lies_on_the_body_is_drawn(tmp_path):
    places = moon(tmp_path, "width_mm = 90", Image.new("L", (9, 9), 0))
    picture = places.spec.masks[0].where.picture
    assert picture is not None
    covered, body = covered_mm(places, picture, tmp_path)
    assert area_mm2(covered) == pytest.approx(area_mm2(body), rel=1e-3)


def test_a_stencil_larger_than_the_paper_takes_several_sheets(tmp_path):
    places = moon(tmp_path, "width_mm = 20", ring())
    drawn = stencils(places, tmp_path)
    assert len(pages_for("moon", drawn, "A4")) == 1
    (large,) = drawn
    large.width_mm = 1.4 * area_mm("A4")[0]
    large.height_mm = 1.4 * area_mm("A4")[1]
    assert len(pages_for("moon", drawn, "A4")) == 4


CAN = """\
[[bodies]]
name = "can"
material = "pla_white"
mesh = { file = "can.glb", units = "mm", up = "z" }
  [[bodies.masks]]
  name = "spot"
  coat = "black_paint"
  where = { picture = { file = "spot.png", by_texture = true } }
"""


def test_a_picture_by_texture_is_drawn_as_it_is_seen_from_where_it_looks(tmp_path):
    around, high = 40 * 2 * 10 * np.sin(np.pi / 40), 60.0
    y, x = np.mgrid[:300, :315]
    off = np.hypot(((x + 0.5) / 315 - 0.5) * around, ((y + 0.5) / 300 - 0.5) * high)
    Image.fromarray(np.uint8(255 * (off > 9))).save(tmp_path / "spot.png")
    can(30).export(tmp_path / "can.glb")
    plan = plan_of(parse_scene(CAN, folder=tmp_path))
    places = body_places(plan, 0, solid_of(plan.scene_file, 0), 0.3)
    covered, toward, away = wrapped_mm(places, places.spec.masks[0].where, tmp_path)
    # Its middle lies half round from the seam; s along the arc is 10 sin(s / 10) from the side.
    assert_allclose(toward, [np.cos(np.radians(210)), np.sin(np.radians(210)), 0], atol=0.02)
    s = np.linspace(-9, 9, 2001)
    seen = np.trapezoid(2 * np.sqrt(81 - s**2) * np.cos(s / 10), s)
    assert area_mm2(covered) == pytest.approx(seen, rel=0.01)
    assert away == 0
    (drawing,) = stencils(places, tmp_path)
    assert any("stencil for spot, from (-0.87, -0.5, 0)" in getattr(i, "text", "")
               for i in drawing.items)  # fmt: skip
