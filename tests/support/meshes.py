"""Sound and spoilt meshes for tests of repair."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import trimesh

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.where import Region, cut_out


def held_on(mesh: Mesh, region: Region) -> tuple[Mesh, np.ndarray]:
    """Return a mesh cut where a region of it ends, and which faces that holds."""
    return cut_out(mesh, region)


def ball(radius: float = 10.0, fine: int = 3, at: Sequence[float] = (0, 0, 0)) -> trimesh.Trimesh:
    """Return a ball of triangles; 1280 of them unless `fine` says otherwise."""
    mesh = trimesh.creation.icosphere(subdivisions=fine, radius=radius)
    mesh.apply_translation(at)
    return mesh


def block(size: Sequence[float] = (20, 20, 20), at: Sequence[float] = (0, 0, 0)) -> trimesh.Trimesh:
    """Return a block of twelve triangles, centred on `at`."""
    mesh = trimesh.creation.box(extents=size)
    mesh.apply_translation(at)
    return mesh


def joined(*meshes: trimesh.Trimesh, welded: bool = False) -> trimesh.Trimesh:
    """Return several meshes as one, with common corners welded or not."""
    mesh = trimesh.util.concatenate(meshes)
    if welded:
        mesh.merge_vertices()
    return mesh


def turned(mesh: trimesh.Trimesh, faces: np.ndarray | None = None) -> trimesh.Trimesh:
    """Return a mesh with some faces, or all, turned inside out."""
    new = np.array(mesh.faces)
    chosen = np.arange(len(new)) if faces is None else faces
    new[chosen] = new[chosen][:, ::-1]
    return trimesh.Trimesh(mesh.vertices, new, process=False)


def without(mesh: trimesh.Trimesh, faces: np.ndarray | Sequence[int]) -> trimesh.Trimesh:
    """Return a mesh without some of its faces, by number or as a mask."""
    return trimesh.Trimesh(mesh.vertices, np.delete(mesh.faces, faces, axis=0), process=False)


def torn_apart(mesh: trimesh.Trimesh, noise: float = 0.0, seed: int = 0) -> trimesh.Trimesh:
    """Return a mesh whose faces share no corners, each corner moved a little at random."""
    corners = np.array(mesh.triangles).reshape(-1, 3)
    corners += np.random.default_rng(seed).normal(size=corners.shape) * noise
    return trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)


def crossing_tube() -> trimesh.Trimesh:
    """Return a tube of 8 mm along a figure of eight, which runs through itself in the middle."""
    turns = np.linspace(0, 2 * np.pi, 160, endpoint=False)
    path = np.stack([30 * np.sin(turns), 15 * np.sin(2 * turns), 0 * turns], axis=1)
    ahead = np.roll(path, -1, axis=0) - np.roll(path, 1, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    across = np.cross(ahead, [0, 0, 1])
    around = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rings = path[:, None] + 4 * (
        np.cos(around)[:, None] * across[:, None] + np.sin(around)[:, None] * [0, 0, 1]
    )
    i, j = (a.ravel() for a in np.indices((160, 24)))
    i_next, j_next = (i + 1) % 160, (j + 1) % 24
    a, b = i * 24 + j, i * 24 + j_next
    c, d = i_next * 24 + j_next, i_next * 24 + j
    faces = np.vstack([np.column_stack([a, c, b]), np.column_stack([a, d, c])])
    return trimesh.Trimesh(rings.reshape(-1, 3), faces, process=False)


def mesh_of(mesh: trimesh.Trimesh) -> Mesh:
    """Return a mesh of the project."""
    return Mesh.single_part(np.asarray(mesh.vertices), np.asarray(mesh.faces))


def blocks_of(cells: Sequence[tuple[int, int, int]], edge_mm: float = 5.0) -> trimesh.Trimesh:
    """Return the outer faces of unit blocks on a grid, corners welded, as block sculpts export."""
    filled = {tuple(cell) for cell in cells}
    # For each way out of a block: the corners of that side, counter-clockwise seen from outside.
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    quads = []
    for cell in sorted(filled):
        for axis in range(3):
            for side in (0, 1):
                next_to = list(cell)
                next_to[axis] += 2 * side - 1
                if tuple(next_to) in filled:
                    continue
                corners = np.zeros((4, 3))
                corners[:, (axis + 1) % 3], corners[:, (axis + 2) % 3] = square.T
                corners[:, axis] = side
                quads.append((corners if side else corners[::-1]) + cell)
    points = np.array(quads).reshape(-1, 3) * edge_mm
    first = 4 * np.arange(len(quads))[:, None]
    faces = np.vstack([first + np.array(corners) for corners in ([0, 1, 2], [0, 2, 3])])
    mesh = trimesh.Trimesh(points, faces, process=False)
    mesh.merge_vertices()
    return mesh


def can(seam_deg: float) -> trimesh.Trimesh:
    """A cylinder of 40 faces, 20 mm wide and 60 mm high, its side unrolled into the texture."""
    turn = np.radians(seam_deg) + np.linspace(0, 2 * np.pi, 41)
    ring = 10 * np.column_stack([np.cos(turn), np.sin(turn)])
    side = np.vstack([np.column_stack([ring, np.full(41, z)]) for z in (0.0, 60.0)])
    uv = np.column_stack([np.tile(np.linspace(0, 1, 41), 2), np.repeat([0.0, 1.0], 41)])
    k = np.arange(40)
    walls = [(k, k + 1, k + 42), (k, k + 42, k + 41)]
    ends = [(np.full(40, 82), k + 1, k), (np.full(40, 83), k + 41, k + 42)]
    faces = np.vstack([np.column_stack(part) for part in (*walls, *ends)])
    visual = trimesh.visual.TextureVisuals(uv=np.vstack([uv, [[0, 0], [0, 1]]]))
    points = np.vstack([side, [[0, 0, 0], [0, 0, 60]]])
    return trimesh.Trimesh(points, faces, visual=visual, process=False)
