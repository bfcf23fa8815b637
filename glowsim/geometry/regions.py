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
from glowsim.geometry.flat import cut_along
from glowsim.geometry.inside import inside_closed
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, from_manifold, to_manifold
from glowsim.geometry.rows import unique_rows

ROOM = -1
"""Stands in place of a region's number for the room outside the body."""
_PROBE_MM = 2e-3
"""How far in front of a face the region beyond it is looked up [mm]: a film thinner than this,
as inserts with coincident walls leave behind, is looked through, and its own faces are left out."""
_SLIVER_MM = 1e-6
"""Faces narrower than this are left out: no light passes through their place."""
_FILM_MM = 1e-5
"""Pieces thinner than this are no pieces [mm]."""
_SAMPLES = np.array(
    [[1 / 3, 1 / 3, 1 / 3], [0.98, 0.01, 0.01], [0.01, 0.98, 0.01], [0.01, 0.01, 0.98]]
)
"""Places on a face where that is done, as weights of its corners: the middle comes first."""


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
        parts.insert(0, _without_films(tool ^ rest))
        rest = _without_films(rest - tool)
    if rest.is_empty():
        raise GeometryError(f"{what}: the inserts leave nothing of the body's own material")
    parts.insert(0, rest)
    solids = tuple(None if part.is_empty() else from_manifold(part) for part in parts)
    return _with_walls(parts, solids, face_mm)


def _without_films(part: manifold3d.Manifold) -> manifold3d.Manifold:
    """Drop the sheets without thickness that coincident faces leave behind."""
    pieces = part.decompose()
    sound = [p for p in pieces if abs(p.volume()) > _FILM_MM * p.surface_area()]
    return part if len(sound) == len(pieces) else manifold3d.Manifold.compose(sound)


def _with_walls(
    parts: list[manifold3d.Manifold], solids: tuple[Mesh | None, ...], face_mm: float
) -> Regions:
    triangles, inside, outside = [], [], []
    for region, part in enumerate(parts):
        if part.is_empty():
            continue
        mesh = from_manifold(part.refine_to_length(face_mm))
        mesh = _without_film_faces(mesh, region, solids)
        corners, beyond = _walls_of(mesh, region, solids)
        # A wall between two regions is listed once, by the region of lower number.
        keep = ((beyond == ROOM) | (beyond > region)) & (_narrowest_mm(corners) > _SLIVER_MM)
        triangles.append(corners[keep])
        inside.append(np.full(np.count_nonzero(keep), region))
        outside.append(beyond[keep])
    corners = np.concatenate(triangles).reshape(-1, 3)
    first, index = unique_rows(corners)
    walls = Mesh.single_part(corners[first], index.reshape(-1, 3))
    return Regions(solids, walls, np.concatenate(inside), np.concatenate(outside))


def _without_film_faces(mesh: Mesh, region: int, solids: tuple[Mesh | None, ...]) -> Mesh:
    """Return the faces of a region but those of films between two others, or another and the room,
    which it has none of itself: where it is thinner than what is looked through. A film may be left
    where a lid's corners part from their plane by rounding."""
    if len(solids) < 2:
        return mesh
    behind = mesh.centroids - _PROBE_MM * mesh.normals
    solid = solids[region]
    assert solid is not None, "an empty region has no faces"
    thin = np.nonzero(~inside_closed(solid, behind))[0]
    if len(thin) == 0:
        return mesh
    ahead = mesh.centroids[thin] + _PROBE_MM * mesh.normals[thin]
    between = [_regions_at(points, region, solids) for points in (behind[thin], ahead)]
    film = thin[(between[0] != ROOM) | (between[1] != ROOM)]
    return Mesh.single_part(mesh.vertices, np.delete(mesh.faces, film, axis=0))


def _narrowest_mm(triangles: FloatArray) -> FloatArray:
    """Return the least height of triangles, (m,) float [mm]."""
    edges = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2)
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return np.asarray(np.linalg.norm(cross, axis=1) / np.maximum(edges.max(axis=1), 1e-30))


def _walls_of(
    mesh: Mesh, region: int, solids: tuple[Mesh | None, ...]
) -> tuple[FloatArray, IntArray]:
    """Return the faces of a region, (m, 3, 3) float [mm], and the region in front of each.

    A flat side of this region may border on several others, which its own faces know nothing
    of; such faces are cut along the outlines of the others.
    """
    probes = np.einsum("sk,mkd->smd", _SAMPLES, mesh.triangles) + _PROBE_MM * mesh.normals
    seen = _regions_at(probes.reshape(-1, 3), region, solids).reshape(len(_SAMPLES), -1)
    mixed = (seen != seen[0]).any(axis=0)
    corners, beyond = [mesh.triangles[~mixed]], [seen[0, ~mixed]]
    rest, ahead = [], []
    for face in np.nonzero(mixed)[0]:
        # The last first: it is whole, while a film of an earlier one may lie against the face too.
        others = [
            (k, solids[k])
            for k in np.unique(seen[:, face])[::-1]
            if k != ROOM and solids[k] is not None
        ]
        for pieces, found in cut_along(mesh.triangles[face], mesh.normals[face], others):
            if found is None:
                rest.append(pieces)
                ahead.append(pieces.mean(axis=1) + _PROBE_MM * mesh.normals[face])
            else:
                corners.append(pieces)
                beyond.append(np.full(len(pieces), found))
    if rest:
        corners += rest
        beyond.append(_regions_at(np.concatenate(ahead), region, solids))
    return np.concatenate(corners), np.concatenate(beyond)


def _regions_at(points: FloatArray, region: int, solids: tuple[Mesh | None, ...]) -> IntArray:
    """Return which region other than `region` points lie in, (n,) int; ROOM for none."""
    found = np.full(len(points), ROOM)
    for other, solid in enumerate(solids):
        if other == region or solid is None:
            continue
        near = ((points >= solid.bounds[0]) & (points <= solid.bounds[1])).all(axis=1)
        found[np.nonzero(near)[0][inside_closed(solid, points[near])]] = other
    return found
