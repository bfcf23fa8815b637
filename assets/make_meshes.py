"""Make the demo meshes beside this file: python assets/make_meshes.py

The shapes are the project's own; the same script always makes the same files.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh

HERE = Path(__file__).parent


def crystal(
    seed: int, length_mm: float, width_mm: float, sides: int = 6, lean_mm: float = 0.0
) -> trimesh.Trimesh:
    """Return an uneven crystal standing on z = 0: a tapering prism with an off-centre point."""
    rng = np.random.default_rng(seed)
    turn = 2 * np.pi * (np.arange(sides) + 0.25 * rng.random(sides)) / sides
    radius = width_mm / 2 * (0.85 + 0.15 * rng.random(sides))
    ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    shoulder = length_mm * (0.62 + 0.08 * rng.random(sides))
    lower = np.column_stack([ring, np.zeros(sides)])
    upper = np.column_stack([0.86 * ring + [lean_mm, 0], shoulder])
    tip = [[lean_mm + 0.08 * width_mm, 0.05 * width_mm, length_mm]]
    return trimesh.convex.convex_hull(np.vstack([lower, upper, tip]))


def rock(seed: int, width_mm: float, height_mm: float) -> trimesh.Trimesh:
    """Return a lumpy half-round rock on a flat base at z = 0."""
    rng = np.random.default_rng(seed)
    ball = trimesh.creation.icosphere(subdivisions=4, radius=1.0)
    points = ball.vertices.copy()
    for _ in range(40):
        way = rng.standard_normal(3)
        way /= np.linalg.norm(way)
        points += 0.035 * np.exp(-((points @ way - 1.0) ** 2) / 0.04)[:, None] * way
    points *= [width_mm / 2, width_mm / 2.6, height_mm]
    points[:, 2] = np.maximum(points[:, 2], 0.0)
    return trimesh.convex.convex_hull(points)


def main() -> None:
    crystal(1, 86.0, 34.0).export(HERE / "geode_crystal_tall.stl")
    crystal(2, 58.0, 30.0, sides=5, lean_mm=5.0).export(HERE / "geode_crystal_short.obj")
    rock(3, 150.0, 34.0).export(HERE / "geode_rock.ply")


if __name__ == "__main__":
    main()
