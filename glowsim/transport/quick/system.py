"""The equations of one band: the field in the material, and what hollows send back into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.quick.cavity import Exchange
from glowsim.transport.quick.linear import Reading
from glowsim.transport.quick.multigrid import FEW, Matrix, Multigrid, product, solve


@dataclass(frozen=True)
class Returns:
    """What the walls of hollows hand to each other, as the field sees it.

    couple   : mean field on each patch, (patches, nodes);  b : (patches,) float, see `cavity`
    area     : (patches,) float [mm2];  exchange : how patches light each other
    """

    couple: Reading
    b: FloatArray
    area: FloatArray
    exchange: Exchange

    def into_field(self, field: FloatArray) -> FloatArray:
        """Return the load that a field's own light brings back through hollows, (nodes, k)."""
        sent = self.b[:, None] * (self.couple @ field)
        return self.couple.back((self.b * self.area)[:, None] * self.exchange.arriving(sent))

    def in_type(self, number_type: type[np.floating]) -> Returns:
        """Return the same in numbers of another type."""
        return Returns(
            self.couple.in_type(number_type),
            self.b.astype(number_type, copy=False),
            self.area.astype(number_type, copy=False),
            self.exchange.in_type(number_type),
        )


@dataclass(frozen=True)
class System:
    """Matrix and multigrid of one band, with what hollows return."""

    matrix: Matrix
    multigrid: Multigrid
    returns: Returns | None

    def solved(
        self, load: FloatArray, tolerance: float, start: FloatArray | None = None
    ) -> FloatArray:
        """Return the field for loads, (nodes, k); raises SolveError as `solve` does.

        start : (nodes, k) float, a guess of the field
        Two or three loads are solved one by one: each stops by itself, and whole columns in a row
        take four fifths of the time. Hollows hand over all at once, which spares reading their
        tables for each.
        """
        if self.returns is not None or not 1 < load.shape[1] <= FEW:
            return solve(self._apply, self.multigrid.cycle, load, tolerance, start)
        each = []
        for k in range(load.shape[1]):
            one = np.ascontiguousarray(load[:, k : k + 1])
            guess = None if start is None else np.ascontiguousarray(start[:, k : k + 1])
            each.append(solve(self._apply, self.multigrid.cycle, one, tolerance, guess))
        return np.concatenate(each, axis=1)

    def _apply(self, field: FloatArray) -> FloatArray:
        load = product(self.matrix, field)
        return load if self.returns is None else load - self.returns.into_field(field)
