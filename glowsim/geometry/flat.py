"""Flat faces cut along the outlines of other flat faces that lie against them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import manifold3d
import numpy as np

from glowsim.geometry.mesh import FloatArray, Mesh

_APART_MM = 5e-4
"""Faces this close, and facing each other, lie against each other [mm]."""
_LEAST_MM2 = 1e-6
"""Pieces smaller than this are left out [mm2]."""


def cut_along(
    face: FloatArray, normal: FloatArray, others: Sequence[tuple[int, Mesh]]
) -> Iterator[tuple[FloatArray, int | None]]:
    """Cut one triangle along the faces of other bodies that lie against it.

    face : (3, 3) float [mm];  normal : (3,) float, unit;  others : numbers and meshes.
    Gives triangles, (n, 3, 3) float, with the number of the body that lies against them, and
    last of all those where none does, with None.
    """
    first = (face[1] - face[0]) / np.linalg.norm(face[1] - face[0])
    axes = np.stack([first, np.cross(normal, first)])
    rest = manifold3d.CrossSection([(face - face[0]) @ axes.T])
    for number, mesh in others:
        against = _against(mesh, face[0], normal)
        if len(against) == 0:
            continue
        # Seen from this side their faces run the other way round.
        outlines = ((against - face[0]) @ axes.T)[:, ::-1]
        cover = manifold3d.CrossSection(list(outlines), manifold3d.FillRule.Positive)
        yield _triangles(rest ^ cover, face[0], axes), number
        rest = rest - cover
    yield _triangles(rest, face[0], axes), None


def _against(mesh: Mesh, place: FloatArray, normal: FloatArray) -> FloatArray:
    """Return the triangles of a mesh that lie in a plane and face it, (k, 3, 3) float."""
    height = (mesh.vertices - place) @ normal
    in_plane = (np.abs(height) < _APART_MM)[mesh.faces].all(axis=1)
    return mesh.triangles[in_plane & (mesh.normals @ normal < -0.99)]


def _triangles(
    section: manifold3d.CrossSection, origin: FloatArray, axes: FloatArray
) -> FloatArray:
    """Return a flat figure as triangles in space, (n, 3, 3) float."""
    if section.area() < _LEAST_MM2:
        return np.zeros((0, 3, 3))
    outlines = section.to_polygons()
    corners = np.vstack(outlines)[np.asarray(manifold3d.triangulate(outlines), np.int64)]
    return np.asarray(origin + corners @ axes)
