"""Inside or outside: the generalised winding number of a surface around a point.

Barill, Dickson, Schmidt, Levin, Jacobson, 'Fast winding numbers for soups and clouds', ACM
TOG 37, 43 (2018). It is 1 inside a closed surface, 0 outside, and in between where a surface
is broken.
"""

from __future__ import annotations

import igl
import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray


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
