"""Regions of a surface that face one way: on one that runs on smoothly they end between faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from trimesh.triangles import angles

from glowsim.geometry.borders import Border, border_of, weights_on
from glowsim.geometry.creases import smooth_corners
from glowsim.geometry.cuts import BoolArray, Limit
from glowsim.geometry.mesh import FloatArray, Mesh


@dataclass(frozen=True)
class Facing:
    """What of a smooth surface faces one way.

    mesh   : the surface;  normals : (m, 3, 3) float, at the corners of its faces
    toward : (3,) float, unit;  cosine : of the angle within which it faces that way
    border : where the region ends
    """

    mesh: Mesh
    normals: FloatArray
    toward: FloatArray
    cosine: float
    border: Border

    def covers(self, points: FloatArray) -> BoolArray:
        """Return at which points, (n, 3) [mm], the surface faces that way."""
        face, weight = weights_on(self.mesh, points)
        normal = np.einsum("nk,nkd->nd", weight, self.normals[face])
        return np.asarray(normal @ self.toward > self.cosine * np.linalg.norm(normal, axis=1))

    @property
    def limit(self) -> Limit:
        """Its border, what faces another way lying beyond."""
        return self.border.around(self.covers)


def facing_of(mesh: Mesh, way: Sequence[float], within_deg: float) -> Facing | None:
    """Return what of a surface faces `way` within an angle.

    None where that ends at creases or edges of flat faces only: then it goes by whole faces.
    """
    corner, count = smooth_corners(mesh, np.zeros(len(mesh.faces), dtype=np.int64))
    weighted = angles(mesh.triangles)[:, :, None] * mesh.normals[:, None]
    normal = np.zeros((count, 3))
    np.add.at(normal, corner, weighted)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]
    toward = np.asarray(way, dtype=float) / np.linalg.norm(way)
    cosine = float(np.cos(np.radians(within_deg)))
    beyond = (cosine - normal @ toward)[corner]
    border = border_of(mesh.triangles, beyond, np.zeros(len(corner), dtype=bool))
    return None if border is None else Facing(mesh, normal[corner], toward, cosine, border)
