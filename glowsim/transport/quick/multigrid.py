"""Conjugate gradients for many right-hand sides at once, preconditioned by multigrid.

The hierarchy is pyamg's smoothed aggregation. Its cycle is run here with Chebyshev smoothing,
which is made of matrix products alone: many sources are carried through each product
together, and the products leave other threads free to run.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy import linalg, sparse

from glowsim.errors import SolveError
from glowsim.geometry.mesh import FloatArray, IntArray

Operator = Callable[[FloatArray], FloatArray]

MOST_STEPS = 400
_COARSEST = 300
FEW = 3
"""Columns that are taken one by one: scipy takes longer over two or three at once."""
_LOWEST_SMOOTHED = 1 / 6
"""Chebyshev smoothing treats eigenvalues from this share of the largest upward."""


class Matrix(Protocol):
    """Whatever multiplies fields, (n, k)."""

    def __matmul__(self, field: FloatArray, /) -> FloatArray:
        """Return the product."""


@dataclass(frozen=True)
class _Level:
    matrix: Any
    inverse_diagonal: FloatArray
    largest: float
    prolong: Any
    restrict: Any

    def in_type(self, number_type: type[np.floating]) -> _Level:
        """Return the level in numbers of another type."""
        return _Level(
            in_numbers(self.matrix, number_type),
            self.inverse_diagonal.astype(number_type),
            self.largest,
            None if self.prolong is None else self.prolong.astype(number_type),
            None if self.restrict is None else self.restrict.astype(number_type),
        )


@dataclass(frozen=True)
class _Copied:
    """Prolongation to nodes some of which stand in the place of others."""

    prolong: Any
    origin: IntArray

    def __matmul__(self, coarse: FloatArray, /) -> FloatArray:
        fine = coarse if self.prolong is None else self.prolong @ coarse
        return np.concatenate([fine, fine[self.origin]])


@dataclass(frozen=True)
class _Gathered:
    """Its transpose."""

    restrict: Any
    gather: sparse.csr_matrix

    def __matmul__(self, fine: FloatArray, /) -> FloatArray:
        count = self.gather.shape[0]
        total = fine[:count] + self.gather @ fine[count:]
        return total if self.restrict is None else self.restrict @ total


class Multigrid:
    """A multigrid cycle for one symmetric positive definite matrix."""

    def __init__(self, matrix: sparse.csr_matrix) -> None:
        """Build the hierarchy of `matrix`."""
        import pyamg  # a tenth of a second, which those who solve nothing need not wait

        hierarchy = pyamg.smoothed_aggregation_solver(
            matrix,
            symmetry="symmetric",
            # Local weights need no random estimate, so the same matrix gives the same hierarchy.
            smooth=("jacobi", {"omega": 4 / 3, "weighting": "local"}),
            max_coarse=_COARSEST,
            presmoother=None,
            postsmoother=None,
        )
        self._levels: list[_Level] = [
            _Level(
                level.A.tocsr(),
                1.0 / level.A.diagonal()[:, None],
                largest_eigenvalue(level.A),
                getattr(level, "P", None),
                getattr(level, "R", None),
            )
            for level in hierarchy.levels
        ]
        self._coarsest = linalg.cho_factor(hierarchy.levels[-1].A.toarray())

    def refined(
        self, matrix: Matrix, inverse_diagonal: FloatArray, origin: IntArray, largest: float
    ) -> Multigrid:
        """Return a cycle for a matrix that differs from this one's in a few places.

        Only the finest level is smoothed anew; what lies below is shared. The matrix may have
        further unknowns, each in the place of an old one.

        inverse_diagonal : (n + k,) float;  origin : (k,) int, old unknowns of the new ones
        largest : upper estimate of the largest eigenvalue of D^-1 A where the matrix differs
        """
        old = self._levels[0]
        count, more = len(old.inverse_diagonal), len(origin)
        dtype = old.inverse_diagonal.dtype
        places = (origin, np.arange(more))
        gather = sparse.csr_matrix((np.ones(more, dtype), places), shape=(count, more))
        finest = _Level(
            matrix,
            inverse_diagonal.astype(dtype)[:, None],
            max(old.largest, largest),
            _Copied(old.prolong, origin),
            _Gathered(old.restrict, gather),
        )
        other = copy(self)
        below = self._levels if old.prolong is None else self._levels[1:]
        other._levels = [finest, *below]
        return other

    def in_type(self, number_type: type[np.floating]) -> Multigrid:
        """Return the same hierarchy in numbers of another type."""
        if self._levels[0].matrix.dtype == number_type:
            return self
        other = object.__new__(Multigrid)
        other._levels = [level.in_type(number_type) for level in self._levels]
        factor, lower = self._coarsest
        other._coarsest = (factor.astype(number_type), lower)
        return other

    def cycle(self, residual: FloatArray) -> FloatArray:
        """Return an approximate solution for each column of `residual`, (n, k).

        It is worked out in the hierarchy's own numbers: single precision steers the iteration as
        well as double, for half the memory that has to be read.
        """
        own = self._levels[0].inverse_diagonal.dtype
        if residual.dtype == own:
            return self._cycle(residual, 0)
        # Each column by itself to size 1: residuals may be too small for short numbers.
        size = np.linalg.norm(residual, axis=0)
        size[size == 0] = 1.0
        return self._cycle((residual / size).astype(own), 0).astype(residual.dtype) * size

    def _cycle(self, residual: FloatArray, level: int) -> FloatArray:
        here = self._levels[level]
        if here.prolong is None or here.restrict is None:
            return linalg.cho_solve(self._coarsest, residual)
        guess = _smoothed(here, None, residual)
        coarse = self._cycle(here.restrict @ (residual - product(here.matrix, guess)), level + 1)
        return _smoothed(here, guess + here.prolong @ coarse, residual)


def solve(
    apply: Operator,
    precondition: Operator,
    sources: FloatArray,
    tolerance: float,
    start: FloatArray | None = None,
) -> FloatArray:
    """Solve for each column of `sources`, (n, k), by preconditioned conjugate gradients.

    start : (n, k) float, a guess of the solution
    Raises SolveError if the relative residual does not fall to `tolerance`.
    """
    solution = np.zeros_like(sources) if start is None else start.copy()
    residual = sources.copy() if start is None else sources - apply(start)
    goal = tolerance * np.linalg.norm(sources, axis=0)
    goal[goal == 0] = np.inf
    search = np.zeros_like(sources)
    before = np.ones(sources.shape[1], dtype=sources.dtype)
    for _ in range(MOST_STEPS):
        if (np.linalg.norm(residual, axis=0) <= goal).all():
            return solution
        better = precondition(residual)
        now = np.einsum("nk,nk->k", residual, better)
        search = better + (now / before) * search
        image = apply(search)
        curvature = np.einsum("nk,nk->k", search, image)
        # A column that is solved already has nothing left to search along.
        step = np.divide(now, curvature, out=np.zeros_like(now), where=curvature > 0)
        solution += step * search
        residual -= step * image
        before = np.where(now > 0, now, 1.0).astype(sources.dtype)
    worst = float((np.linalg.norm(residual, axis=0) / goal).max()) * tolerance
    raise SolveError(
        f"the diffusion solve stopped at a relative residual of {worst:.1e} after {MOST_STEPS} "
        "steps; give the body a coarser cell_mm, or use the reference solver"
    )


def _smoothed(level: _Level, guess: FloatArray | None, goal: FloatArray) -> FloatArray:
    """Return two steps of Chebyshev smoothing (Saad, Iterative Methods, 2003, algorithm 12.1)."""
    high, low = level.largest, level.largest * _LOWEST_SMOOTHED
    centre, half = (high + low) / 2, (high - low) / 2
    sigma = centre / half
    rho = 1 / sigma
    residual = goal if guess is None else goal - product(level.matrix, guess)
    step = level.inverse_diagonal * residual / centre
    guess = step if guess is None else guess + step
    rho_next = 1 / (2 * sigma - rho)
    residual = goal - product(level.matrix, guess)
    step = rho_next * rho * step + (2 * rho_next / half) * (level.inverse_diagonal * residual)
    return guess + step


def product(matrix: Any, field: FloatArray) -> FloatArray:
    """Return matrix @ field, the same sums whatever the number of columns, (n, k).

    scipy goes through several columns at once; for two or three of them column by column takes
    half the time.
    """
    few = field.ndim == 2 and 1 < field.shape[1] <= FEW
    if not few or not sparse.issparse(matrix) or matrix.format != "csr":
        return np.asarray(matrix @ field)
    columns = [matrix @ np.ascontiguousarray(column) for column in field.T]
    return np.stack(columns, axis=1)


def in_numbers(matrix: Any, number_type: type[np.floating]) -> Any:
    """Return a matrix in numbers of another type, in the same places: these it shares."""
    if matrix.dtype == number_type or not sparse.issparse(matrix) or matrix.format != "csr":
        return matrix.astype(number_type, copy=False)
    parts = (matrix.data.astype(number_type), matrix.indices, matrix.indptr)
    return sparse.csr_matrix(parts, shape=matrix.shape)


def largest_eigenvalue(matrix: sparse.csr_matrix) -> float:
    """Return a safe upper estimate of the largest eigenvalue of D^-1 A."""
    inverse = 1.0 / matrix.diagonal()
    vector = np.random.default_rng(0).standard_normal(matrix.shape[0])
    size = 1.0
    for _ in range(15):
        vector = inverse * (matrix @ (vector / size))
        size = float(np.linalg.norm(vector))
    return 1.1 * size
