"""Scenes small enough to be swept in seconds."""

from __future__ import annotations

from glowsim.scene import SceneFile, parse_scene

SPIKE = """
title = "Little spike"
[room]
illuminance_lx = 10
[[bodies]]
name = "spike"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 30 }
material = "upholstery_foam_white"
detail_mm = 6
cell_mm = 4
  [[bodies.lights]]
  name = "board"
  board = "round_7_12ma"
  position_mm = [0, 0, 12]
  drive = { red = 0.2, green = 0.1, blue = 0.2 }
[[bodies]]
name = "stand"
shape = { kind = "rod", length_mm = 10, diameter_mm = 10 }
material = "wood_dowel"
"""

ORB = """
[boards.white]
like = "rgb_5050_5ma"
front_reflectance = 1.0
back_reflectance = 1.0
[materials.grey]
label = "one value in all bands"
mu_a_per_mm = 0.02
mu_s_reduced_per_mm = 2.0
refractive_index = 1.5
density_kg_m3 = 1000
[[bodies]]
name = "orb"
shape = { kind = "orb", diameter_mm = 24 }
material = "grey"
wall_mm = 2
detail_mm = 2
  [[bodies.lights]]
  board = "white"
  position_mm = [0, 0, 0]
  drive = { red = 0.4, green = 0.4, blue = 0.4 }
"""


def spike(**changes: str) -> SceneFile:
    """Return the spike's scene, with some texts in it replaced: old_text="new"."""
    return _changed(SPIKE, changes)


def orb(**changes: str) -> SceneFile:
    """Return the orb's scene, likewise."""
    return _changed(ORB, changes)


def _changed(text: str, changes: dict[str, str]) -> SceneFile:
    for old, new in changes.items():
        key = f"{old} = "
        assert text.count(key) >= 1, old
        start = text.index(key) + len(key)
        text = text[:start] + new + text[text.index("\n", start) :]
    return parse_scene(text, "little.toml")
