"""Inside or outside: by rays for closed surfaces, by winding number for any.

The generalised winding number (Barill, Dickson, Schmidt, Levin, Jacobson, 'Fast winding
numbers for soups and clouds', ACM TOG 37, 43 (2018)) is 1 inside a closed surface, 0 outside,
and in between where a surface is broken.
"""

from __future__ import annotations

import igl
import numpy as np

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.rays import BoolArray, RayTarget

_WAYS = np.array([[0.36, -0.48, 0.80], [-0.64, 0.60, -0.48]])
"""Two directions that no one builds along, of length 1."""
_GRAZING = 0.02
"""A ray that meets a face at a smaller cosine than this, or ..."""
_TOO_NEAR_MM = 5e-4
"""... as near as this, does not tell for sure on which side it started."""
_TARGETS: Kept[tuple[Mesh, RayTarget]] = Kept(4)
"""Of the bodies asked about last: a board that is dragged asks of the same one at each step. The
mesh is kept with it, so that no other has its identity."""


def inside_closed(mesh: Mesh, points: FloatArray) -> BoolArray:
    """Return which points lie inside a closed mesh, (n,) bool; points : (n, 3) float [mm].

    A ray that starts inside leaves through the first face it meets. Where two rays disagree,
    or graze a face, the winding number decides.
    """
    within, sure = np.zeros((2, len(points)), dtype=bool), np.ones(len(points), dtype=bool)
    _, target = _TARGETS.get(id(mesh), lambda: (mesh, RayTarget.of(mesh)))
    for k, way in enumerate(_WAYS):
        hits = target.first_hits(points, np.broadcast_to(way, points.shape))
        slope = np.where(hits.face >= 0, mesh.normals[hits.face] @ way, -1.0)
        within[k] = slope > 0
        sure &= (np.abs(slope) > _GRAZING) & (hits.distance_mm > _TOO_NEAR_MM)
    doubt = ~sure | (within[0] != within[1])
    within[0, doubt] = winding_number(mesh.vertices, mesh.faces, points[doubt]) > 0.5
    return within[0]


def winding_number(vertices: FloatArray, faces: IntArray, points: FloatArray) -> FloatArray:
    """Return the winding number of a surface around points, (n,) float.

    vertices : (v, 3) float [mm];  faces : (m, 3) int;  points : (n, 3) float [mm].
    """
    if len(points) == 0:
        return np.zeros(0)
    # The library sums in single precision, which a body far off the origin would feel.
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    number = igl.fast_winding_number(
        vertices - middle, np.ascontiguousarray(faces), np.ascontiguousarray(points - middle)
    )
    return np.atleast_1d(np.asarray(number, dtype=float)).ravel()
