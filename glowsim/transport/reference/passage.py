"""What light that wanders out of a ball has lost on the way.

Diffuse light that starts at the distance t R from the middle of a ball of radius R leaves it at an
angle, seen from the middle, whose cosine mu is spread as Poisson's kernel,
(1 - t^2) / (1 - 2 t mu + t^2)^(3/2): the law of Henyey & Greenstein with t in place of g. Of
light that dies off as exp(-k r), the share W(t, mu) of what leaves there is left:

    W = sum (2 l + 1) P_l(mu) i_l(k t R) / i_l(k R)  /  sum (2 l + 1) P_l(mu) t^l

with the modified spherical Bessel functions i_l (derived: both are the solution inside a ball for
given values on it, of del^2 u = k^2 u and of Laplace's equation; Jackson, Classical
Electrodynamics, sections 2.7 and 3.3). From the middle it is x / sinh x, x = k R (Fleck &
Canfield, J. Comput. Phys. 54, 508 (1984)).

The photon loop reads it from a table: with the straight distance L from start to end in radii,
W = 1 - L x^2 (a - x^2 (b - x^2 c)), where a, b, c change little with t and L.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from glowsim.geometry.mesh import FloatArray

NODES = 49
"""Rows for t from 0 to 1, and columns for L from its least, 1 - t, to its greatest, 1 + t."""
MOST = 1.2
"""Largest x = k R that the table serves; W is right to 5e-5 up to there."""
_NEAREST = 0.985
"""Rows nearer to t = 1 are drawn on: the sums need ever more terms."""


@lru_cache(maxsize=1)
def passage_table() -> FloatArray:
    """Return a, b, c at each node, (NODES, NODES, 3) float."""
    table = np.array([_row(t) for t in np.linspace(0.0, 1.0, NODES)])
    table.flags.writeable = False
    return table


def left_after(t: float, mu: FloatArray, x: float) -> FloatArray:
    """Return W for a start at t (above 0, below 1), exits at cosines mu, and x = k R."""
    terms = int(30.0 / -np.log(t)) + 20
    order = np.arange(float(terms))
    weight = (2 * order + 1) * t**order * _bessel(order, t * x) / _bessel(order, x)
    return np.polynomial.legendre.legval(mu, weight) * (1 - 2 * t * mu + t * t) ** 1.5 / (1 - t * t)


def _bessel(order: FloatArray, z: float) -> FloatArray:
    """Return i_l(z) over its first term, by its power series (Abramowitz & Stegun 10.2.5)."""
    term = np.ones(len(order))
    total = term.copy()
    for m in range(1, 12):
        term = term * (0.5 * z * z) / (m * (2 * order + 1 + 2 * m))
        total += term
    return total


def _row(t: float) -> FloatArray:
    """Return a, b, c along a row, (NODES, 3) float."""
    length = np.linspace(1 - t, 1 + t, NODES)
    if t <= _NEAREST:
        return _fitted(max(t, 1e-3), length)
    nearest = 2 * _NEAREST - t
    one, other = (_fitted(near, np.maximum(length, 1 - near)) for near in (nearest, _NEAREST))
    row = 2 * other - one
    # Where L itself comes down to 0, its neighbours say more.
    row[0] = 2 * row[1] - row[2]
    return row


def _fitted(t: float, length: FloatArray) -> FloatArray:
    """Return a, b, c for a start at t and distances to the exit, by three values of x."""
    x2 = MOST**2 * np.array([1.0, 2.0, 3.0]) / 3.0
    mu = np.clip((1 + t * t - length**2) / (2 * t), -1.0, 1.0)
    lost = np.array([1.0 - left_after(t, mu, x) for x in np.sqrt(x2)])
    powers = np.column_stack([np.ones(3), -x2, x2**2])
    return np.asarray(np.linalg.solve(powers, lost / (length * x2[:, None])), dtype=float).T
