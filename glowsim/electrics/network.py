"""A resistive network with loads whose current depends on their voltage.

Both conductors of a pair count as one resistance, so a node's voltage is that between the two
wires there. The loads are sinks that hold their current while the voltage suffices and let go
below; their current never falls as the voltage rises, so there is one solution.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.linalg import spsolve

from glowsim.errors import SolveError
from glowsim.geometry.mesh import FloatArray, IntArray

LEAST_OHM = 1e-6
"""Joints without resistance are given this much, a thousandth of what could be measured."""
TOLERANCE_A = 1e-9
TOLERANCE_V = 1e-6
_ROUNDING = 256 * float(np.finfo(float).eps)
"""Of the largest term of a sum of currents: what rounding leaves over."""
MOST_STEPS = 100
SMALL = 100
"""Nodes up to which a dense matrix is quicker (measured: 10 times at 10 nodes, even at 200)."""

Load = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""From node voltages, (n,), to the current drawn there [A] and its rise per volt [A/V]."""


@dataclass(frozen=True)
class Network:
    """Nodes joined by resistances; node 0 is the source.

    start, end : (e,) int, nodes each joins;  ohm : (e,) float
    """

    node_count: int
    start: IntArray
    end: IntArray
    ohm: FloatArray

    def conductance(self) -> FloatArray | csc_matrix:
        """Return the matrix that takes node voltages to the currents leaving the nodes [A/V].

        Dense for a small network, where a sparse one is all bookkeeping.
        """
        g = 1.0 / np.maximum(self.ohm, LEAST_OHM)
        row = np.concatenate([self.start, self.end, self.start, self.end])
        column = np.concatenate([self.start, self.end, self.end, self.start])
        value = np.concatenate([g, g, -g, -g])
        size = (self.node_count, self.node_count)
        if self.node_count <= SMALL:
            dense = np.zeros(size)
            np.add.at(dense, (row, column), value)
            return dense
        return coo_matrix((value, (row, column)), shape=size).tocsc()

    def currents_a(self, volts: FloatArray) -> FloatArray:
        """Return the current from start to end of each edge at node voltages, (e,) [A]."""
        return (volts[self.start] - volts[self.end]) / np.maximum(self.ohm, LEAST_OHM)


def solve_network(
    network: Network, source_v: float, load: Load, first_guess: FloatArray | None = None
) -> FloatArray:
    """Return the node voltages, (n,) float, at which all currents balance.

    Newton steps, halved until the imbalance shrinks. Raises SolveError if they do not get there,
    with the imbalance that is left.
    """
    full = network.conductance()
    fed, inner = _parted(full)
    fed = fed * source_v
    volts = np.full(network.node_count, float(source_v))
    if first_guess is not None:
        volts[1:] = first_guess[1:]

    def imbalance(values: FloatArray) -> tuple[FloatArray, FloatArray]:
        current, slope = load(values)
        return inner @ values[1:] + fed + current[1:], slope[1:]

    enough = TOLERANCE_A + _ROUNDING * abs(source_v) * float(inner.diagonal().max(initial=0.0))
    left, slope = imbalance(volts)
    for _ in range(MOST_STEPS):
        step = _solved(inner, slope, -left)
        size = 1.0
        while True:
            tried = volts.copy()
            tried[1:] += size * step
            after, slope_after = imbalance(tried)
            shrinks = np.linalg.norm(after) < np.linalg.norm(left)
            if shrinks or size < 1e-6 or np.abs(step).max() <= TOLERANCE_V:
                break
            size /= 2
        volts, left, slope = tried, after, slope_after
        # A small imbalance is not enough: through a large resistance it is many volts.
        if np.abs(left).max(initial=0.0) <= enough and np.abs(step).max() <= TOLERANCE_V:
            return volts
    raise SolveError(
        f"the currents in the wiring did not balance in {MOST_STEPS} steps; "
        f"{np.abs(left).max():.2g} A are left over"
    )


def _parted(full: FloatArray | csc_matrix) -> tuple[FloatArray, FloatArray | csc_matrix]:
    """Return the column of the source and the matrix of the other nodes."""
    if isinstance(full, np.ndarray):
        return full[1:, 0], full[1:, 1:]
    return np.asarray(full[1:, [0]].todense()).ravel(), full[1:, 1:].tocsc()


def _solved(inner: FloatArray | csc_matrix, slope: FloatArray, right: FloatArray) -> FloatArray:
    """Return what the matrix, with slopes on its diagonal, takes to the right side."""
    if isinstance(inner, np.ndarray):
        return np.linalg.solve(inner + np.diag(slope), right)
    return np.atleast_1d(spsolve((inner + diags(slope)).tocsc(), right))
