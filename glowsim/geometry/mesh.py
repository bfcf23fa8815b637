"""A triangle mesh in mm, with named parts, and its passage to and from the boolean library."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import manifold3d
import numpy as np
from numpy.typing import NDArray

from glowsim.errors import GeometryError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


METRES_UP_Y = np.array(
    [[1e-3, 0, 0, 0], [0, 0, 1e-3, 0], [0, -1e-3, 0, 0], [0, 0, 0, 1.0]], dtype=float
)
"""From mm with z up to what glTF asks for: metres with y up, (4, 4) float."""


@dataclass(frozen=True)
class Mesh:
    """Triangles with outward normals.

    vertices : (n, 3) float [mm]
    faces    : (m, 3) int, counter-clockwise seen from outside
    part     : (m,) int, index into `part_names`
    uv       : (n, 2) float, texture coordinates as a file has them, v upward; None if it has none
    colours  : (n, 3) uint8, of a mesh that is painted at its corners in a few colours; else None
    """

    vertices: FloatArray
    faces: IntArray
    part: IntArray
    part_names: tuple[str, ...] = ("surface",)
    uv: FloatArray | None = None
    colours: NDArray[np.uint8] | None = None

    @classmethod
    def single_part(cls, vertices: FloatArray, faces: IntArray) -> Mesh:
        """Return a mesh whose faces all belong to one part called 'surface'."""
        faces = np.asarray(faces, dtype=np.int64)
        return cls(np.asarray(vertices, dtype=float), faces, np.zeros(len(faces), dtype=np.int64))

    @cached_property
    def triangles(self) -> FloatArray:
        """Corner points, (m, 3, 3) float [mm]."""
        return self.vertices[self.faces]

    @cached_property
    def _cross(self) -> FloatArray:
        corner = self.triangles
        return np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])

    @cached_property
    def areas_mm2(self) -> FloatArray:
        """Face areas, (m,) float [mm2]."""
        return np.linalg.norm(self._cross, axis=1) / 2

    @cached_property
    def normals(self) -> FloatArray:
        """Unit face normals, (m, 3) float; zero for a face without area."""
        length = np.linalg.norm(self._cross, axis=1, keepdims=True)
        return np.divide(self._cross, length, out=np.zeros_like(self._cross), where=length > 0)

    @cached_property
    def centroids(self) -> FloatArray:
        """Face centres, (m, 3) float [mm]."""
        return self.triangles.mean(axis=1)

    @cached_property
    def bounds(self) -> FloatArray:
        """Least and greatest corner, (2, 3) float [mm]."""
        return np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @property
    def size_mm(self) -> FloatArray:
        """Extents along x, y, z, (3,) float [mm]."""
        return self.bounds[1] - self.bounds[0]

    @cached_property
    def volume_mm3(self) -> float:
        """Signed volume by the divergence theorem: positive when normals point outward [mm3]."""
        return float(np.einsum("md,md->", self.triangles[:, 0], self._cross) / 6)

    def moved(self, transform: FloatArray) -> Mesh:
        """Return the mesh under a (4, 4) rigid or scaling transform."""
        vertices = self.vertices @ transform[:3, :3].T + transform[:3, 3]
        return Mesh(vertices, self.faces, self.part, self.part_names)


def to_manifold(mesh: Mesh, what: str) -> manifold3d.Manifold:
    """Return `mesh` for boolean operations.

    Raises GeometryError, naming the body as `what`, if it is not a closed, consistently
    oriented surface.
    """
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.array(mesh.vertices, dtype=np.float64, order="C"),
            tri_verts=np.array(mesh.faces, dtype=np.uint64, order="C"),
        )
    )
    if solid.status() != manifold3d.Error.NoError:
        raise GeometryError(
            f"{what}: its surface is not closed ({solid.status().name}), so inside and outside "
            "cannot be told apart"
        )
    return solid


def from_manifold(solid: manifold3d.Manifold) -> Mesh:
    """Return the mesh of a boolean result."""
    result = solid.to_mesh64()
    faces = np.array(result.tri_verts, dtype=np.int64).reshape(-1, 3)
    return Mesh.single_part(np.array(result.vert_properties, dtype=float)[:, :3], faces)


def directed_edges(faces: IntArray) -> IntArray:
    """Return the edges of faces as they run, (3 n, 2) int: the first of each face, then the
    second, then the third."""
    return np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])


def at_mm(point: FloatArray) -> str:
    """Return a place as people write it: '(1.0, 2.5, 30.0) mm'."""
    x, y, z = (f"{c:z.1f}" for c in point)
    return f"({x}, {y}, {z}) mm"
