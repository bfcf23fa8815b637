"""Smoothing of values over a surface by a given distance, whatever its triangles look like."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import factored

_STEPS = 2
"""Implicit steps of one smoothing: two already fall off much like a Gaussian."""
_THINNEST = 1e-3
"""Triangles thinner than this share of their longest edge conduct as if they were so thick."""
_TOLERANCE = 1e-3
"""Relative residual at which a step is done: a picture shows no thousandth part."""
_MOST_ROUNDS = 300
_MOST_FACTORED = 200_000
"""Corners up to which the matrix is factored; more would take too much memory."""


@dataclass(frozen=True)
class SurfaceHeat:
    """Heat conduction over triangles with linear elements.

    mass      : (c,) float, area around each corner [mm2]
    stiffness : (c, c), integral of the product of slopes; its rows sum to zero
    """

    mass: FloatArray
    stiffness: csr_matrix
    _factors: Kept[Any] = field(default_factory=lambda: Kept(1), repr=False)

    def smoothed(self, values: FloatArray, radius_mm: float) -> FloatArray:
        """Return values at corners, (c, k) float, as a Gaussian of that deviation averages them.

        Heat spreads a point to the deviation s on a plane in the time s^2/2. The integral over
        the surface is kept, and so is a field that rises evenly.
        """
        if radius_mm <= 0:
            return values
        if len(self.mass) <= _MOST_FACTORED:
            # Over a surface few entries are added: three times as quick for three columns, and
            # more columns cost next to nothing.
            factors = self._factors.get(str(radius_mm), lambda: factored(self._step(radius_mm)))
            for _ in range(_STEPS):
                values = factors.solve(self.mass[:, None] * values)
            return values
        matrix = self._step(radius_mm)
        for _ in range(_STEPS):
            values = _solved(matrix, self.mass[:, None] * values, values)
        return values

    def _step(self, radius_mm: float) -> csr_matrix:
        """Return the matrix of one implicit step of a smoothing."""
        step = radius_mm**2 / 2 / _STEPS
        return (diags(self.mass) + step * self.stiffness).tocsr()


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


def _solved(matrix: csr_matrix, goal: FloatArray, start: FloatArray) -> FloatArray:
    """Solve for all columns of `goal`, (c, k), by conjugate gradients with Jacobi's scaling.

    All columns share each product with the matrix. No sum goes through BLAS: its threads wait
    for each other far longer than such short sums take when another program is busy.
    """
    inverse = 1 / matrix.diagonal()[:, None]
    enough = _TOLERANCE**2 * np.einsum("ck,ck->k", goal, goal)
    found, residual = start.copy(), goal - matrix @ start
    search, before = np.zeros_like(goal), np.ones(goal.shape[1])
    for _ in range(_MOST_ROUNDS):
        if (np.einsum("ck,ck->k", residual, residual) <= enough).all():
            break
        better = inverse * residual
        now = np.einsum("ck,ck->k", residual, better)
        search = better + (now / before) * search
        image = matrix @ search
        curvature = np.einsum("ck,ck->k", search, image)
        # A column that is solved to the last digit has nothing left to search along.
        stride = np.divide(now, curvature, out=np.zeros_like(now), where=curvature > 0)
        found += stride * search
        residual -= stride * image
        before = np.where(now > 0, now, 1.0)
    return found
