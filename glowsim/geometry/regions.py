"""A body cut into regions that do not overlap, and the walls between them.

Region 0 is the body's own material; each insert is a region too. Where inserts overlap, the
later one wins. Every wall face knows the region on either side, which is all that light needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.inside import winding_number
from glowsim.geometry.mesh import IntArray, Mesh, from_manifold, to_manifold

ROOM = -1
"""Stands in place of a region's number for the room outside the body."""
_PROBE_MM = 2e-3
"""How far in front of a face the region beyond it is looked up [mm]."""


@dataclass(frozen=True)
class Regions:
    """The parts of a body.

    solids     : the closed mesh of each region; None for one that was cut away whole
    walls      : all faces between regions or between a region and the room, each once
    inside     : (m,) int, the region behind each wall face (its normal points away from it)
    outside    : (m,) int, the region in front, or ROOM
    """

    solids: tuple[Mesh | None, ...]
    walls: Mesh
    inside: IntArray
    outside: IntArray


def cut_into_regions(outer: Mesh, inserts: Sequence[Mesh], face_mm: float, what: str) -> Regions:
    """Cut `outer` into regions: what is left of it, then each insert.

    Faces are divided so that no edge is longer than `face_mm`. Raises GeometryError if an
    insert does not touch the body, or if the inserts leave nothing of it.
    """
    body = to_manifold(outer, what)
    tools = [
        to_manifold(insert, f"{what}: insert {number}")
        for number, insert in enumerate(inserts, start=1)
    ]
    parts: list[manifold3d.Manifold] = []
    rest = body
    for number, tool in reversed(list(enumerate(tools, start=1))):
        if (tool ^ body).is_empty():
            raise GeometryError(f"{what}: insert {number} lies wholly outside the body")
        parts.insert(0, tool ^ rest)
        rest = rest - tool
    if rest.is_empty():
        raise GeometryError(f"{what}: the inserts leave nothing of the body's own material")
    parts.insert(0, rest)
    solids = tuple(None if part.is_empty() else from_manifold(part) for part in parts)
    return _with_walls(parts, solids, face_mm)


def _with_walls(
    parts: list[manifold3d.Manifold], solids: tuple[Mesh | None, ...], face_mm: float
) -> Regions:
    vertices, faces, inside, outside = [], [], [], []
    count = 0
    for region, part in enumerate(parts):
        if part.is_empty():
            continue
        mesh = from_manifold(part.refine_to_length(face_mm))
        beyond = _region_beyond(mesh, region, solids)
        # A wall between two regions is listed once, by the region of lower number.
        keep = (beyond == ROOM) | (beyond > region)
        vertices.append(mesh.vertices)
        faces.append(mesh.faces[keep] + count)
        inside.append(np.full(np.count_nonzero(keep), region))
        outside.append(beyond[keep])
        count += len(mesh.vertices)
    walls = Mesh.single_part(np.vstack(vertices), np.vstack(faces))
    return Regions(solids, walls, np.concatenate(inside), np.concatenate(outside))


def _region_beyond(mesh: Mesh, region: int, solids: tuple[Mesh | None, ...]) -> IntArray:
    """Return which region lies just in front of each face of `region`'s surface."""
    beyond = np.full(len(mesh.faces), ROOM)
    probe = mesh.centroids + _PROBE_MM * mesh.normals
    for other, solid in enumerate(solids):
        if other == region or solid is None:
            continue
        near = ((probe >= solid.bounds[0]) & (probe <= solid.bounds[1])).all(axis=1)
        if near.any():
            within = winding_number(solid.vertices, solid.faces, probe[near]) > 0.5
            beyond[np.nonzero(near)[0][within]] = other
    return beyond
