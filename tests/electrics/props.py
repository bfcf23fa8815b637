"""Props to wire up: rows of boards, with whatever supply a test needs."""

from __future__ import annotations

import numpy as np

from glowsim.electrics.power import Electrics
from glowsim.scene import parse_scene

BOARD = """
[boards.plain]
like = "round_7_12ma"
channel_current_ma = 12.0
quiescent_ma = 0.0
"""


def row(count: int, more: str = "", board: str = "plain", drive: float = 1.0) -> str:
    """Return a scene of `count` equal spikes, 'spike 1' and so on, all in the zone 'spikes'."""
    return f"""
title = "Row"
{BOARD}
[[bodies]]
name = "spike"
material = "upholstery_foam_white"
shape = {{ kind = "spike", length_mm = 60, base_diameter_mm = 30, tip_radius_mm = 2 }}
  [[bodies.lights]]
  name = "board"
  board = "{board}"
  position_mm = [0, 0, 12]
  zone = "spikes"
  drive = {{ red = {drive}, green = {drive}, blue = {drive} }}
  [[bodies.patterns]]
  kind = "along"
  count = {count}
  step_mm = [40, 0, 0]
{more}
"""


def electrics(text: str) -> Electrics:
    return Electrics(parse_scene(text, "prop.toml"))


def white(electrics: Electrics) -> np.ndarray:
    """Return full drive for all boards."""
    return np.ones((len(electrics.boards), 3))
