"""Walls that change from place to place, by height or by an inner surface: quick beside the
reference."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Rod, parse_scene
from glowsim.transport.build import build_problem
from tests.support.solvers import quick, reference

SHELL = """
[[bodies]]
name = "lantern"
shape = {{ kind = "rod", length_mm = 60, diameter_mm = 44 }}
material = "milky_resin_strong"
detail_mm = 6
cell_mm = 1.6
{wall}
  [[bodies.lights]]
  board = "rgb_5050_18ma"
  position_mm = [0, 0, 16]
"""
BY_HEIGHT = "wall_by_height_mm = [[0, 7], [60, 3.5]]"
INNER = 'inner = {{ file = "{file}", units = "mm" }}'
"""A tapered hollow set off to one side: a wall of 3.5 mm on the right, of 8 on the left."""


@pytest.mark.slow
@pytest.mark.parametrize("way", ["by height", "inner"])
def test_quick_follows_a_wall_that_varies(way, tmp_path: Path):
    wall = BY_HEIGHT
    if way == "inner":
        core = shape_mesh(Rod(kind="rod", length_mm=50, diameter_mm=32, top_diameter_mm=28))
        places = core.vertices + np.array([2.5, 0.0, 5.0])
        trimesh.Trimesh(places, core.faces).export(tmp_path / "inner.stl")
        wall = INNER.format(file=tmp_path / "inner.stl")
    (problem,) = build_problem(parse_scene(SHELL.format(wall=wall))).bodies
    exact, fast = reference(problem, 24_000), quick(problem)
    side = abs(problem.walls.normals[problem.skin][:, 2]) < 0.5
    # Along the height, or round it: where the wall is thick and where it is thin.
    x, _, z = exact.centroids.T
    place = z / 60 if way == "by height" else (x + 22) / 44
    band = np.where(side, np.clip((place * 4).astype(int), 0, 3), -1)
    found = [fast.leaves(band == k).mean / exact.leaves(band == k).mean for k in range(4)]
    shares = [exact.leaves(band == k).mean / exact.areas[band == k].sum() for k in range(4)]
    # The wall tells: what it lets out differs by half at least from end to end.
    assert max(shares) > 1.5 * min(shares)
    assert abs(np.array(found) - 1).max() < 0.1, found
