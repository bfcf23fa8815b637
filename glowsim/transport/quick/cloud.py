"""The scattering material of a body as equations: matrices, what reads a field, what absorbs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib.util import find_spec
from typing import Protocol

import numpy as np
from scipy import sparse

from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.problem import Medium, OpaqueBoard
from glowsim.transport.quick.apart import Cut, Cuts
from glowsim.transport.quick.assembly import PartedMatrix
from glowsim.transport.quick.elements import Elements, Nodes
from glowsim.transport.quick.ground import Band
from glowsim.transport.quick.lattice import Lattice
from glowsim.transport.quick.linear import Reading
from glowsim.transport.quick.multigrid import Matrix, Multigrid, in_numbers
from glowsim.transport.quick.rowwise import RowwiseMatrix

NumberType = type[np.floating]
CUTS = 8
"""Groups of boards that are kept as they were cut out."""
SHORT = np.float32
"""Of the numbers that multigrid is kept in: it steers the iteration and no more."""


class Cloud(Protocol):
    """What an arrangement asks of the scattering material it stands in."""

    @property
    def nodes(self) -> Nodes:
        """Where the field's values sit."""

    @property
    def node_count(self) -> int:
        """How many values the field has."""

    @property
    def further(self) -> tuple[IntArray, IntArray]:
        """Of the nodes that boards add: the body's own in whose place each stands, and its
        number there from 1 on, (k,) each."""

    @property
    def cell_mm(self) -> float:
        """Edge of a grid cell."""

    @property
    def face_mean(self) -> Reading:
        """The mean of a field on each wall face."""

    def equations(self, band: int, number_type: NumberType) -> tuple[Matrix, Multigrid]:
        """Return one band's matrix and what preconditions it, in numbers of a type."""

    def absorbed(self, field: FloatArray, band: int) -> dict[int, FloatArray]:
        """Return what each region absorbs of a field, (k,) each; light boards come after the
        body's own regions, two to a board."""


@dataclass(frozen=True)
class WholeCloud:
    """The material without boards in it.

    bands    : matrix and coefficients of each band;  multigrids : of each, in short numbers
    absorbs  : for each band what each region absorbs of a unit field at each node
    faces    : of the walls;  cut : groups of boards that were cut out before
    """

    lattice: Lattice
    bands: tuple[Band, ...]
    multigrids: tuple[Multigrid, ...]
    absorbs: tuple[dict[int, FloatArray], ...]
    faces: int
    _kept: Kept[sparse.csr_matrix]
    _rowwise: Kept[RowwiseMatrix]
    cut: Kept[Cut | None]

    @classmethod
    def of(cls, lattice: Lattice, media: Sequence[Medium], field_b: FloatArray) -> WholeCloud:
        """Assemble the equations; field_b : (faces, 3) float, see `walls`."""
        optics = [lattice.optics(media, field_b, band) for band in range(3)]
        matrices = [lattice.matrix(o) for o in optics]
        return cls(
            lattice,
            tuple(Band.of(lattice.ground, o, m) for o, m in zip(optics, matrices, strict=True)),
            tuple(_hierarchies(matrices)),
            tuple(lattice.absorbing(o) for o in optics),
            len(field_b),
            Kept(6),
            Kept(3),
            Kept(CUTS),
        )

    def with_rows(self, faces: int) -> WholeCloud:
        """Return the same for walls with more faces, none of which touch the material."""
        return replace(self, faces=faces)

    @property
    def nodes(self) -> Elements:
        """Where the field's values sit."""
        return self.lattice.ground.elements

    @property
    def node_count(self) -> int:
        """How many values the field has."""
        return self.nodes.node_count

    @property
    def further(self) -> tuple[IntArray, IntArray]:
        """Boards add no nodes."""
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)

    @property
    def cell_mm(self) -> float:
        """Edge of a grid cell."""
        return self.nodes.grid.cell_mm

    @property
    def face_mean(self) -> Reading:
        """The mean of a field on each wall face."""
        return Reading(self.lattice.face_mean).with_rows(self.faces)

    def equations(self, band: int, number_type: NumberType) -> tuple[Matrix, Multigrid]:
        """Return one band's matrix in numbers of a type, and its multigrid."""
        return self.matrix(band, number_type), self.multigrids[band]

    def matrix(self, band: int, number_type: NumberType) -> sparse.csr_matrix:
        """Return one band's matrix in numbers of a type, kept for the next time."""
        own = self.bands[band].matrix
        return self._kept.get(
            f"{band} {number_type.__name__}", lambda: in_numbers(own, number_type)
        )

    def rowwise(self, band: int) -> RowwiseMatrix | None:
        """Return one band's matrix in short numbers, ready for products, kept for the next time;
        None where there is no compiler."""
        if find_spec("numba") is None:
            return None
        own = self.matrix(band, SHORT)
        return self._rowwise.get(band, lambda: RowwiseMatrix.of(own))

    def absorbed(self, field: FloatArray, band: int) -> dict[int, FloatArray]:
        """Return what each region absorbs of a field, (k,) each."""
        return {region: load @ field for region, load in self.absorbs[band].items()}


@dataclass(frozen=True)
class PartedCloud:
    """The material with boards cut out of it.

    first : number of the first board's region;  faces : of the walls, boards included
    """

    whole: WholeCloud
    parted: Cuts
    first: int
    faces: int
    _made: Kept[PartedMatrix] = field(default_factory=lambda: Kept(3), repr=False)

    @classmethod
    def of(
        cls, whole: WholeCloud, boards: Sequence[OpaqueBoard], first: int, faces: int
    ) -> PartedCloud | None:
        """Cut boards out; None where none of them touches the material."""
        parted = Cuts.of(whole.lattice.ground, boards, whole.cut)
        return None if parted is None else cls(whole, parted, first, faces)

    @property
    def nodes(self) -> Cuts:
        """Where the field's values sit."""
        return self.parted

    @property
    def node_count(self) -> int:
        """How many values the field has."""
        return self.parted.size

    @property
    def further(self) -> tuple[IntArray, IntArray]:
        """The nodes that boards add, see `Cloud`."""
        return self.parted.origin, self.parted.copy

    @property
    def cell_mm(self) -> float:
        """Edge of a grid cell."""
        return self.whole.cell_mm

    @cached_property
    def face_mean(self) -> Reading:
        """The mean of a field on each wall face."""
        change = self.parted.face_mean_change
        return Reading(self.whole.lattice.face_mean, change).with_rows(self.faces)

    def _matrix(self, band: int) -> PartedMatrix:
        """Return the matrix of one band; several threads may ask for those of several."""
        hierarchies = self.whole.multigrids
        like = self.whole.bands[next(b for b in range(3) if hierarchies[b] is hierarchies[band])]
        return self._made.get(str(band), lambda: self.parted.matrix(self.whole.bands[band], like))

    @cached_property
    def _into_boards(self) -> tuple[sparse.csr_matrix, ...]:
        return tuple(self.parted.into_boards(band.optics) for band in self.whole.bands)

    def equations(self, band: int, number_type: NumberType) -> tuple[Matrix, Multigrid]:
        """Return one band's matrix and what preconditions it, in numbers of a type."""
        short = self._in_numbers(band, SHORT)
        if number_type is SHORT:
            matrix = short = replace(short, rowwise=self.whole.rowwise(band))
        else:
            matrix = self._in_numbers(band, number_type)
        base = self.whole.multigrids[band]
        diagonal = self.whole.bands[band].diagonal
        return matrix, short.preconditioner(base, self.parted.origin, diagonal)

    def _in_numbers(self, band: int, number_type: NumberType) -> PartedMatrix:
        own = self._matrix(band)
        change = in_numbers(own.change, number_type)
        return PartedMatrix(self.whole.matrix(band, number_type), change, known_largest=own.largest)

    def absorbed(self, field: FloatArray, band: int) -> dict[int, FloatArray]:
        """Return what each region and each board absorbs of a field, (k,) each."""
        own = self.whole.node_count
        taken = self.whole.absorbed(field[:own], band)
        share = self.whole.bands[band].optics.absorption
        for region, load in self.parted.volumes_change.items():
            taken[region] = taken[region] + share[region] * (load @ field)
        for number, into in enumerate(self._into_boards[band] @ field):
            taken[self.first + 2 * number] = into
        return taken


def _hierarchies(matrices: list[sparse.csr_matrix]) -> list[Multigrid]:
    """Return a multigrid for each matrix; bands that differ little share one.

    It only steers the iteration: each band is still solved with its own matrix.
    """
    made: list[tuple[sparse.csr_matrix, Multigrid]] = []
    chosen = []
    for matrix in matrices:
        near = next((m for other, m in made if _alike(matrix, other)), None)
        if near is None:
            near = Multigrid(matrix).in_type(SHORT)
            made.append((matrix, near))
        chosen.append(near)
    return chosen


def _alike(one: sparse.csr_matrix, other: sparse.csr_matrix) -> bool:
    """Whether two matrices of one grid agree within a factor on sharp and on smooth fields."""
    sharp = one.diagonal().sum() / other.diagonal().sum()
    smooth = one.sum() / other.sum()
    return bool(0.5 < sharp < 2 and 0.25 < smooth < 4)
