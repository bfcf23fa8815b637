"""The grid laid into a body, and what its cells hold: geometry without coefficients.

Another absorption or scattering needs no new grid: matrices are sums of moments of the cells,
each times what the material at hand makes of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.voxels import Filling, Grid, solid_filling, surface_filling
from glowsim.optics.diffusion import diffusion_coefficient_mm
from glowsim.transport.problem import BodyProblem, Kind, Medium
from glowsim.transport.quick.elements import Elements
from glowsim.transport.quick.triangles import surface_points

LEAST_SCATTERING = 0.2
"""Over the greatest size of a body: what a clear material is taken to scatter at least. Light
crosses it unscattered; its small scattered part is spread over the whole body, which a large D
says well enough."""


@dataclass(frozen=True)
class Lattice:
    """A grid over the scattering regions of a body.

    moments   : for each scattering region (cells, 27) float, moments of its part of each cell
    volume    : for each, (nodes,) float, integral of each node's shape function over it [cells]
    wall_moments : for each kind of wall next to scattering material, moments of its area [mm2]
    face_mean : (faces, nodes), the mean of a field over each such face
    size_mm   : greatest extent of the body
    """

    elements: Elements
    moments: dict[int, FloatArray]
    volume: dict[int, FloatArray]
    wall_moments: dict[int, Filling]
    face_mean: sparse.csr_matrix
    size_mm: float

    @property
    def filled(self) -> FloatArray:
        """Filled share of each cell, (cells,) float."""
        return np.asarray(np.sum([m[:, 0] for m in self.moments.values()], axis=0))

    def weights(self, media: tuple[Medium, ...], band: int) -> dict[int, tuple[float, float]]:
        """Return for each region what its moments count in a band: 4 n^2 D h and 4 n^2 mu_a h^3."""
        cell, out = self.elements.grid.cell_mm, {}
        for region in self.moments:
            medium = media[region]
            mu_a = float(medium.mu_a_per_mm[band])
            least = LEAST_SCATTERING / self.size_mm - mu_a
            mu_s = max(float(medium.mu_s_reduced_per_mm[band]), least)
            d_mm = float(diffusion_coefficient_mm(mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s))
            fluence = 4 * medium.refractive_index**2
            out[region] = (fluence * d_mm * cell, fluence * mu_a * cell**3)
        return out

    def matrix(
        self, media: tuple[Medium, ...], b_of_kind: dict[int, float], band: int
    ) -> sparse.csr_matrix:
        """Return D grad.grad + mu_a + b on walls, in phi^ = phi / (4 n^2), for one band.

        b_of_kind : for each kind of wall the coefficient of its flux, see `walls`
        """
        shape = (len(self.elements.cells), 27)
        stiffness, mass = np.zeros(shape), np.zeros(shape)
        for region, (spreads, absorbs) in self.weights(media, band).items():
            stiffness += spreads * self.moments[region]
            mass += absorbs * self.moments[region]
        for kind, filling in self.wall_moments.items():
            rows = np.searchsorted(self.elements.cells, filling.cells)
            mass[rows] += b_of_kind[kind] * filling.moments
        filled, cell = self.filled, self.elements.grid.cell_mm
        weight = stiffness[:, 0] / np.maximum(filled, 1e-6) / cell
        ghost = self.elements.ghost_penalty(filled, weight)
        return (self.elements.matrix(stiffness, mass) + ghost).tocsr()

    def absorbing(self, media: tuple[Medium, ...], band: int) -> dict[int, FloatArray]:
        """Return for each region what it absorbs of a unit field at each node, (nodes,) float."""
        weights = self.weights(media, band)
        return {region: weights[region][1] * load for region, load in self.volume.items()}


def lattice_of(problem: BodyProblem, wall_kind: IntArray) -> Lattice | None:
    """Return the lattice of a body; None for one that does not scatter.

    wall_kind : (faces,) int, see `surfaces.wall_kinds`
    """
    if not problem.scatters:
        return None
    solids = _scattering(problem)
    low = np.min([s.bounds[0] for s in solids.values()], axis=0)
    high = np.max([s.bounds[1] for s in solids.values()], axis=0)
    grid = Grid.around(np.array([low, high]), problem.cell_mm)
    fillings = {r: solid_filling(s, grid) for r, s in solids.items()}
    scatters_in = problem.kind_of(problem.inside) == Kind.SCATTERS
    scatters_out = problem.kind_of(problem.outside) == Kind.SCATTERS
    faces = np.nonzero(scatters_in ^ scatters_out)[0]
    points, areas, owner = surface_points(problem.walls.triangles[faces], 1.5 * grid.cell_mm)
    at_wall, _ = grid.locate(points)
    cells = np.unique(np.concatenate([at_wall, *(f.cells for f in fillings.values())]))
    elements = Elements.over(grid, cells)
    share = areas / problem.walls.areas_mm2[faces[owner]]
    spread = sparse.csr_matrix(
        (share, (faces[owner], np.arange(len(points)))),
        shape=(len(problem.walls.faces), len(points)),
    )
    kind = wall_kind[faces[owner]]
    moments = {r: elements.weighted(filling) for r, filling in fillings.items()}
    return Lattice(
        elements,
        moments,
        {r: elements.load(moment) for r, moment in moments.items()},
        {
            int(k): surface_filling(points[kind == k], areas[kind == k], grid)
            for k in np.unique(kind)
        },
        (spread @ elements.sampler(points)).tocsr(),
        float(problem.walls.size_mm.max()),
    )


def _scattering(problem: BodyProblem) -> dict[int, Mesh]:
    """Return the solids of the regions that scatter."""
    return {
        region: solid
        for region, (medium, solid) in enumerate(zip(problem.media, problem.solids, strict=True))
        if medium.kind == Kind.SCATTERS and solid is not None
    }
