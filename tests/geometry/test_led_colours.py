"""Colours LED by LED: lists, blends, and that light adds up as that of one strip."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.errors import SceneError
from glowsim.scene import parse_scene
from glowsim.transport.plan import plan_of
from glowsim.transport.solve import solve

SLAB = """
[[bodies]]
name = "slab"
material = "eva_foam_white"
shape = {{ kind = "slab", length_mm = 90, width_mm = 24, thickness_mm = 20 }}
cell_mm = 4.0
detail_mm = 8.0
  [[bodies.lights]]
  board = "strip_60"
  led_count = 4
  position_mm = [0, 0, 8]
  along = [1, 0, 0]
{colours}
"""
RED, BLUE = "{ red = 1, green = 0, blue = 0 }", "{ red = 0, green = 0, blue = 1 }"


def drives_of(colours: str) -> np.ndarray:
    scene = plan_of(parse_scene(SLAB.format(colours=colours))).scene_file.scene
    return np.array([[d.red, d.green, d.blue] for d in (x.drive for x in scene.bodies[0].lights)])


def test_a_list_of_colours_goes_on_over_again():
    assert_allclose(drives_of(f"drives = [{RED}, {BLUE}]")[:, 0], [1, 0, 1, 0])


def test_a_blend_runs_from_the_first_led_to_the_last():
    drives = drives_of(f"drive = {RED}\ndrive_to = {BLUE}")
    assert_allclose(drives[:, 0], [1, 2 / 3, 1 / 3, 0], atol=1e-12)
    assert_allclose(drives[:, 2], [0, 1 / 3, 2 / 3, 1], atol=1e-12)


def test_pieces_of_a_straight_strip_stand_where_its_leds_stood():
    one = plan_of(parse_scene(SLAB.format(colours="")))
    apart = plan_of(parse_scene(SLAB.format(colours=f"drives = [{RED}]")))
    pieces = apart.scene_file.scene.bodies[0].lights
    offsets = one.catalogue.board("strip_60").led_offsets_mm(4)
    places = np.array([light.position_mm for light in pieces])
    assert_allclose(places[:, 0], offsets[:, 0], atol=0.01)
    assert_allclose(places[:, 1:], [[0, 8]] * 4, atol=1e-6)


def test_colours_add_up_from_the_same_responses():
    """All LEDs red, all blue, and one after the other: the mixture is the sum of its parts."""
    half = "{ red = 0.5, green = 0, blue = 0 }"

    def out(colours: str) -> np.ndarray:
        glow = solve(parse_scene(SLAB.format(colours=colours)))
        return glow.exitance_lm_mm2(glow.copies[0])

    mixed = out(f"drives = [{RED}, {BLUE}]")
    other = out(f"drives = [{BLUE}, {RED}]")
    whole = out(f"drives = [{half}]") * 2
    assert_allclose((mixed + other)[0], whole[0], rtol=1e-5, atol=1e-12)
    assert mixed[2].sum() > 0


@pytest.mark.parametrize(
    ("colours", "told"),
    [
        (f"drive = {RED}\ndrives = [{BLUE}]", "leave out drive"),
        ("drives = []", "0 values; 1 needed"),
    ],
)
def test_colours_that_contradict_are_told(colours, told):
    with pytest.raises(SceneError, match=told):
        parse_scene(SLAB.format(colours=colours))
