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


def moth_mask(
    width_mm: float = 156.0, height_mm: float = 190.0, deep_mm: float = 72.0, wall_mm: float = 2.4
) -> trimesh.Trimesh:
    """Return a mask as a slicer gets it: outer skin, inner skin and rim, with two eye holes.

    It looks toward -y, its chin is down; its rim is drawn back at the cheeks, so no plane fits it.
    """
    around = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    reach = np.linspace(0, 1, 19)[1:]
    rho, turn = np.meshgrid(reach, around, indexing="ij")

    def front(rho: np.ndarray, turn: np.ndarray) -> np.ndarray:
        x, z = rho * np.cos(turn), rho * np.sin(turn)
        x = x * (1 - 0.16 * np.clip(-z, 0, 1) ** 2)  # narrower at the chin
        y = -deep_mm * np.sqrt(np.maximum(1 - rho**2.6, 0)) + 14 * x**2
        y = y - 17 * np.exp(-((x / 0.16) ** 2) - ((z + 0.08) / 0.26) ** 2)  # the nose
        for side in (-1, 1):
            y = y - 8 * np.exp(-(((x - side * 0.42) / 0.3) ** 2) - ((z - 0.46) / 0.13) ** 2)
        return np.stack([x * width_mm / 2, y, z * height_mm / 2], axis=-1)

    step = 1e-4
    along = front(np.minimum(rho + step, 1), turn) - front(rho - step, turn)
    across = front(rho, turn + step) - front(rho, turn - step)
    normal = np.cross(along, across)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    normal *= np.sign(-normal[0, :, 1].sum())
    outer = front(rho, turn)
    skins = [outer, outer - wall_mm * normal]
    middle = np.array([outer[0].mean(axis=0), skins[1][0].mean(axis=0)])
    rings, count = rho.shape
    number = np.arange(rings * count).reshape(rings, count)
    faces: list[np.ndarray] = []
    for side, tip in enumerate((2 * rings * count, 2 * rings * count + 1)):
        here = number + side * rings * count
        after = np.roll(here, -1, axis=1)
        quads = np.stack([here[:-1], after[:-1], after[1:], here[1:]], axis=-1).reshape(-1, 4)
        fan = np.stack([np.full(count, tip), after[0], here[0]], axis=-1)
        skin = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], fan])
        faces.append(skin if side == 0 else skin[:, ::-1])
    rim, inner = number[-1], number[-1] + rings * count
    after, inner_after = np.roll(rim, -1), np.roll(inner, -1)
    faces += [np.stack([rim, after, inner_after], 1), np.stack([rim, inner_after, inner], 1)]
    points = np.vstack([skins[0].reshape(-1, 3), skins[1].reshape(-1, 3), middle])
    shell = trimesh.Trimesh(points, np.vstack(faces), process=False)
    shell.fix_normals()
    eyes = []
    for side in (-1, 1):
        eye = trimesh.creation.cylinder(radius=1.0, height=300.0, sections=32)
        eye.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
        eye.apply_scale([15.0, 1.0, 8.5])
        eye.apply_translation([side * 32.0, -150.0, 20.0])
        eyes.append(eye)
    return trimesh.boolean.difference([shell, *eyes], engine="manifold")


def main() -> None:
    crystal(1, 86.0, 34.0).export(HERE / "geode_crystal_tall.stl")
    crystal(2, 58.0, 30.0, sides=5, lean_mm=5.0).export(HERE / "geode_crystal_short.obj")
    rock(3, 150.0, 34.0).export(HERE / "geode_rock.ply")
    moth_mask().export(HERE / "moth_mask.stl")


if __name__ == "__main__":
    main()
