"""The equations of one band: the field in the material, and what hollows send back into it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.quick.multigrid import Multigrid


@dataclass(frozen=True)
class Returns:
    """What the walls of hollows hand to each other, as the field sees it.

    couple   : (patches, nodes), mean field on each patch;  b : (patches,) float, see `cavity`
    area     : (patches,) float [mm2]
    arriving : (patches, patches) float, from light sent out first to all light that arrives
    """

    couple: sparse.csr_matrix
    b: FloatArray
    area: FloatArray
    arriving: FloatArray

    @cached_property
    def _back(self) -> sparse.csr_matrix:
        return self.couple.T.tocsr()

    def into_field(self, field: FloatArray) -> FloatArray:
        """Return the load that a field's own light brings back through hollows, (nodes, k)."""
        sent = self.b[:, None] * (self.couple @ field)
        return self._back @ ((self.b * self.area)[:, None] * (self.arriving @ sent))

    def in_type(self, number_type: type[np.floating]) -> Returns:
        """Return the same in numbers of another type."""
        parts = (self.couple, self.b, self.area, self.arriving)
        return Returns(*(part.astype(number_type, copy=False) for part in parts))


@dataclass(frozen=True)
class System:
    """Matrix and multigrid of one band, with what hollows return."""

    matrix: sparse.csr_matrix
    multigrid: Multigrid
    returns: Returns | None

    def apply(self, field: FloatArray) -> FloatArray:
        """Return what a field leaves as load, (nodes, k)."""
        load = self.matrix @ field
        return load if self.returns is None else load - self.returns.into_field(field)

    def cycle(self, residual: FloatArray) -> FloatArray:
        """Return an approximate solution, (nodes, k)."""
        return self.multigrid.cycle(residual)

    def in_type(self, number_type: type[np.floating]) -> System:
        """Return the same in numbers of another type."""
        return System(
            self.matrix.astype(number_type, copy=False),
            self.multigrid.in_type(number_type),
            None if self.returns is None else self.returns.in_type(number_type),
        )
