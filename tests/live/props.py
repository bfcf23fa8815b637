"""A small prop for tests of the live page: quick to light, with two boards in one body."""

from __future__ import annotations

from pathlib import Path

SCENE = """# A bud for tests.
title = "Test bud"

[room]
illuminance_lx = 20   # a street
viewing_distance_mm = 2000

[[bodies]]
name = "bud"
shape = { kind = "spike", length_mm = 60, base_diameter_mm = 44, tip_radius_mm = 8 }
material = "upholstery_foam_white"
detail_mm = 5
cell_mm = 4

  [[bodies.masks]]
  coat = "opaque_primer"
  where = { part = "base" }

  [[bodies.lights]]
  name = "low"
  board = "round_7"
  position_mm = [0, 0, 10]   # on the plate
  drive = { red = 0.3, green = 0.12, blue = 0.02 }

  [[bodies.lights]]
  name = "high"
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 34]
  drive = { red = 0.3, green = 0.12, blue = 0.02 }

[power]
battery = "power_bank_10000"
"""


def write_scene(folder: Path, text: str = SCENE) -> Path:
    """Write the scene into a folder; return its file."""
    file = folder / "bud.toml"
    file.write_text(text, encoding="utf-8")
    return file
