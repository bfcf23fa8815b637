"""Walls that are meant to be one: an insert flush with the body's surface, or with another insert.

Round shapes are many-sided, so that two of one diameter run in and out of each other and leave
slivers of a hundredth of a millimetre, which no solver can do anything with. Where walls lie as
near as that, facing the same way, the later solid is let reach a little beyond the earlier one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, from_manifold, to_manifold

JOIN_MM = 0.03
"""Walls nearer than this, facing the same way, are one."""
BEYOND_MM = 0.04
"""How far the later solid then reaches past its own wall."""
PIECE_MM = 4.0
"""Walls are compared in pieces of this size."""
ALIGNED = 0.98
"""Cosine between the normals of two such walls, at least."""
EXACT_MM = 1e-5
"""Walls nearer than this have the same faces, and nothing is said of them; the body's own surface
is then cut clean as it is."""


def joined_to(
    tool: Mesh, earlier: Sequence[tuple[str, Mesh | None]], what: str
) -> tuple[Mesh, list[str]]:
    """Return an insert joined to the walls it runs along, and notes that say so.

    earlier : names and meshes of what is there before it, the body's outer surface first
    """
    notes = []
    for number, (name, other) in enumerate(earlier):
        if other is None:
            continue
        moved, apart = joined(tool, other)
        if number > 0 or apart > EXACT_MM:
            tool = moved
        if apart > EXACT_MM:
            notes.append(
                f"{what}: its wall and that of {name} run in and out of each other by up to "
                f"{apart:.1g} mm; they are taken as one. Where a gap is meant, make it wider than "
                f"{JOIN_MM:g} mm"
            )
    return tool, notes


def joined(tool: Mesh, earlier: Mesh) -> tuple[Mesh, float]:
    """Return `tool` with its walls that lie along those of `earlier` moved a little past them.

    Also returns how far apart these walls were at most [mm], 0 where there are none.
    """
    near = (tool.bounds[0] <= earlier.bounds[1] + JOIN_MM) & (
        tool.bounds[1] >= earlier.bounds[0] - JOIN_MM
    )
    if not near.all():
        return tool, 0.0
    fine = from_manifold(to_manifold(tool, "insert").refine_to_length(PIECE_MM))
    gap, _, face = nearest_on(earlier, fine.centroids)
    along = np.einsum("md,md->m", fine.normals, earlier.normals[face]) > ALIGNED
    flush = (gap < JOIN_MM) & along
    if not flush.any():
        return tool, 0.0
    apart = float(gap[flush].max())
    moved = _with_next(fine, flush)
    vertices = fine.vertices + _moves(fine.faces[moved], fine.normals[moved], len(fine.vertices))
    return Mesh.single_part(vertices, fine.faces), apart


def _with_next(mesh: Mesh, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return some faces of a mesh and those next to them that lie in nearly the same plane."""
    normal = np.zeros_like(mesh.vertices)
    for k in range(3):
        np.add.at(normal, mesh.faces[chosen, k], mesh.normals[chosen])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.divide(normal, size, out=np.zeros_like(normal), where=size > 0)
    along = np.einsum("mkd,md->mk", normal[mesh.faces], mesh.normals)
    return np.asarray(chosen | (along > ALIGNED).any(axis=1))


def _moves(faces: IntArray, normals: FloatArray, count: int) -> FloatArray:
    """Return how to move each of `count` corners so that its flush faces come out far enough."""
    moves = np.zeros((count, 3))
    corner, owner = faces.ravel(), np.repeat(np.arange(len(faces)), 3)
    order = np.argsort(corner, kind="stable")
    corner, owner = corner[order], owner[order]
    starts = np.nonzero(np.diff(corner, prepend=-1))[0]
    for mine in np.split(np.arange(len(corner)), starts[1:]):
        planes = normals[owner[mine]]
        # Nearly parallel planes ask for the same move: what tells them apart is no direction.
        move, *_ = np.linalg.lstsq(planes, np.full(len(planes), BEYOND_MM), rcond=0.3)
        moves[corner[mine[0]]] = move
    return moves
