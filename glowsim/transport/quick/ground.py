"""A body on its grid, made ready for light boards to be cut out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.rays import RayTarget, inside_spans
from glowsim.transport.quick.elements import Elements


class Probe:
    """Lines parallel to one axis of the grid through one solid."""

    def __init__(self, solid: Mesh, axis: int) -> None:
        """Prepare lines along `axis`, 0 to 2. The ray target is made when first asked for."""
        self._axes = across(axis)
        self._solid = solid

    @cached_property
    def _ready(self) -> tuple[Mesh, RayTarget]:
        turned = Mesh.single_part(self._solid.vertices[:, self._axes], self._solid.faces)
        return turned, RayTarget.of(turned)

    def spans(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return where the lines through points (n, 3) run inside the solid.

        Returns lower and upper ends, (n, s) each [mm], as many as the line with the most needs;
        spare ones are empty, from 0 to 0.
        """
        mesh, target = self._ready
        first, second, _ = self._axes
        line, low, high = inside_spans(mesh, points[:, first], points[:, second], target)
        order = np.arange(len(line)) - np.searchsorted(line, line)
        most = int(order.max()) + 1 if len(order) else 0
        ends = np.zeros((2, len(points), most))
        ends[0, line, order], ends[1, line, order] = low, high
        return ends[0], ends[1]


def across(axis: int) -> list[int]:
    """Return the axes of a right-handed frame whose third is `axis`."""
    return [(axis + 1) % 3, (axis + 2) % 3, axis]


@dataclass(frozen=True)
class WallPoints:
    """Points that integrate over the walls of a body, by the cell they lie in.

    row : (p,) int, row of the cell among those in use, ascending
    points : (p, 3) float [mm];  local : (p, 3) float, place in the cell
    areas : (p,) float [mm2], what each stands for;  share : (p,) float, of its face
    face : (p,) int, number of the wall face
    """

    row: IntArray
    points: FloatArray
    local: FloatArray
    areas: FloatArray
    share: FloatArray
    face: IntArray

    @classmethod
    def of(
        cls,
        elements: Elements,
        points: FloatArray,
        areas: FloatArray,
        face: IntArray,
        face_areas_mm2: FloatArray,
    ) -> WallPoints:
        """Sort points of wall faces by their cells."""
        row, local = elements.place(points)
        order = np.argsort(row, kind="stable")
        mine = face[order]
        share = areas[order] / face_areas_mm2[mine]
        return cls(row[order], points[order], local[order], areas[order], share, mine)

    def within(self, rows: IntArray) -> tuple[IntArray, IntArray]:
        """Return the numbers of the points in cells, and for each the place of its cell."""
        first, last = np.searchsorted(self.row, rows), np.searchsorted(self.row, rows, "right")
        many = last - first
        which = np.repeat(np.arange(len(rows)), many)
        inside = np.arange(len(which)) - np.repeat(np.cumsum(many) - many, many)
        return first[which] + inside, which


@dataclass(frozen=True)
class Ground:
    """What of a body does not depend on boards or bands.

    solids   : the scattering regions;  moments : their filling of each cell in use, (c, 27) each
    faces    : how many wall faces there are
    support  : (nodes,) float, see `Elements.support`
    weak     : ill supported nodes with the next two on a line, (m,) int each
    """

    elements: Elements
    solids: Mapping[int, Mesh]
    moments: Mapping[int, FloatArray]
    probes: Mapping[int, tuple[Probe, Probe, Probe]]
    walls: WallPoints
    faces: int
    support: FloatArray
    weak: tuple[IntArray, IntArray, IntArray]

    @classmethod
    def of(
        cls,
        elements: Elements,
        solids: Mapping[int, Mesh],
        moments: Mapping[int, FloatArray],
        walls: WallPoints,
        faces: int,
    ) -> Ground:
        """Prepare a body.

        solids : closed mesh of each scattering region;  moments : (c, 27) of each, by rows of
        `elements`;  faces : how many wall faces the body has.
        """
        filled = np.sum([moment[:, 0] for moment in moments.values()], axis=0)
        support = elements.support(filled)
        probes = {
            r: (Probe(solid, 0), Probe(solid, 1), Probe(solid, 2)) for r, solid in solids.items()
        }
        weak = elements.ill_supported(support)
        return cls(elements, solids, moments, probes, walls, faces, support, weak)

    @property
    def regions(self) -> tuple[int, ...]:
        """Numbers of the scattering regions."""
        return tuple(self.moments)

    def rows_of(self, cells: IntArray) -> IntArray:
        """Return the rows of cells in use among some cell numbers, ascending."""
        row = self.elements.row[cells]
        return np.unique(row[row >= 0])

    def filled_whole(self, rows: IntArray) -> IntArray:
        """Return the region that fills each cell whole, -1 where none does."""
        whole = np.full(len(rows), -1, dtype=np.int64)
        for r, moment in self.moments.items():
            whole[moment[rows, 0] > 1 - 1e-9] = r
        return whole


@dataclass(frozen=True)
class Optics:
    """Coefficients of one band, in phi^ = phi / (4 n^2).

    band       : 0 to 2, for the boards' reflectances
    index      : refractive index of each scattering region
    diffusion  : 4 n^2 D of each [mm];  absorption : 4 n^2 mu_a of each [1/mm]
    wall_b     : (faces,) float, b of each wall face
    """

    band: int
    index: Mapping[int, float]
    diffusion: Mapping[int, float]
    absorption: Mapping[int, float]
    wall_b: FloatArray


@dataclass(frozen=True)
class Band:
    """One band of a prepared body: its matrix, and what the ghost penalty goes by.

    matrix   : (nodes, nodes), of the body without boards;  diagonal : (nodes,) float
    weight   : (c,) float, stiffness coefficient of each cell
    strength : (nodes,) float, see `Elements.strength`
    """

    optics: Optics
    matrix: sparse.csr_matrix
    diagonal: FloatArray
    weight: FloatArray
    strength: FloatArray

    @classmethod
    def of(cls, ground: Ground, optics: Optics, matrix: sparse.csr_matrix) -> Band:
        """Prepare one band."""
        weight = mean_coefficient(ground.moments, optics.diffusion)
        strength = ground.elements.strength(weight)
        return cls(optics, matrix, np.asarray(matrix.diagonal(), dtype=float), weight, strength)


def mean_coefficient(
    moments: Mapping[int, FloatArray], coefficient: Mapping[int, float]
) -> FloatArray:
    """Return the mean coefficient of what fills each cell, (c,)."""
    parts = {r: moment[:, 0] for r, moment in moments.items()}
    filled = np.sum(list(parts.values()), axis=0)
    total = np.sum([coefficient[r] * part for r, part in parts.items()], axis=0)
    return np.asarray(total / np.maximum(filled, 1e-6))
