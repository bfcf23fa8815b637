"""Smoothing of values over a surface by a given distance, whatever its triangles look like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.linalg import cg

from glowsim.geometry.mesh import FloatArray, IntArray

_STEPS = 2
"""Implicit steps of one smoothing: two already fall off much like a Gaussian."""
_THINNEST = 1e-3
"""Triangles thinner than this share of their longest edge conduct as if they were so thick."""


@dataclass(frozen=True)
class SurfaceHeat:
    """Heat conduction over triangles with linear elements.

    mass      : (c,) float, area around each corner [mm2]
    stiffness : (c, c), integral of the product of slopes; its rows sum to zero
    """

    mass: FloatArray
    stiffness: csr_matrix

    def smoothed(self, values: FloatArray, radius_mm: float) -> FloatArray:
        """Return values at corners, (c, k) float, as a Gaussian of that deviation averages them.

        Heat spreads a point to the deviation s on a plane in the time s^2/2. The integral over
        the surface is kept, and so is a field that rises evenly.
        """
        if radius_mm <= 0:
            return values
        step = radius_mm**2 / 2 / _STEPS
        matrix = (diags(self.mass) + step * self.stiffness).tocsr()
        inverse = diags(1 / matrix.diagonal())
        columns = []
        for column in values.T:
            for _ in range(_STEPS):
                # A picture shows no thousandth part; scipy keeps the last value if it stops early.
                column, _ = cg(
                    matrix, self.mass * column, x0=column, rtol=1e-3, maxiter=300, M=inverse
                )
            columns.append(column)
        return np.stack(columns, axis=1)


def surface_heat(triangles: FloatArray, corner: IntArray, count: int) -> SurfaceHeat:
    """Return the conduction between the `count` corners of triangles (m, 3, 3), numbered (m, 3).

    Element matrix e_i . e_j / 4A with e_i the edge opposite corner i, the linear finite element
    of the Laplacian (Pinkall & Polthier, Exp. Math. 2, 15 (1993)); never indefinite.
    """
    edge = triangles[:, [2, 0, 1]] - triangles[:, [1, 2, 0]]
    area = np.linalg.norm(np.cross(edge[:, 0], edge[:, 1]), axis=1) / 2
    longest = np.einsum("mkd,mkd->mk", edge, edge).max(axis=1)
    product = np.einsum("mid,mjd->mij", edge, edge)
    product /= 4 * np.maximum(area, np.maximum(_THINNEST * longest, 1e-12))[:, None, None]
    row, column = np.repeat(corner, 3, axis=1), np.tile(corner, (1, 3))
    stiffness = coo_matrix(
        (product.reshape(-1), (row.ravel(), column.ravel())), shape=(count, count)
    ).tocsr()
    mass = np.bincount(corner.ravel(), np.repeat(area / 3, 3), minlength=count)
    return SurfaceHeat(np.maximum(mass, 1e-9), stiffness)
