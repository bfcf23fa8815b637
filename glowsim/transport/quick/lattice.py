"""The grid laid into a body, and what its cells hold: geometry without coefficients.

Another absorption or scattering needs no new grid: matrices are sums of moments of the cells,
each times what the material at hand makes of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.voxels import MOMENTS, Filling, Grid, solid_filling, surface_filling
from glowsim.optics.diffusion import asymptotic_diffusion_coefficient_mm
from glowsim.transport.problem import BodyProblem, Kind, Medium
from glowsim.transport.quick.elements import Elements
from glowsim.transport.quick.ground import Ground, Optics, WallPoints, mean_coefficient
from glowsim.transport.quick.triangles import surface_points

LEAST_SCATTERING = 0.2
"""Over the greatest size of a body: what a clear material is taken to scatter at least. Light
crosses it unscattered; its small scattered part is spread over the whole body, which a large D
says well enough."""
LEAST_HELD = 1e-6
"""Every node has at least this share of what the median node has on the diagonal."""
_POINTS_AT_ONCE = 1 << 17
"""Points on walls that are looked up together: each has eight corners."""


@dataclass(frozen=True)
class Lattice:
    """A grid over the scattering regions of a body.

    ground    : cells, what each region fills of them, and the points on walls
    volume    : for each region (nodes,) float, integral of each node's shape function [mm3]
    wall_moments : for each kind of wall next to scattering material, moments of its area [mm2]
    wall_face : for each kind a face of it
    face_mean : (faces, nodes), the mean of a field over each such face
    size_mm   : greatest extent of the body
    """

    ground: Ground
    volume: dict[int, FloatArray]
    wall_moments: dict[int, Filling]
    wall_face: dict[int, int]
    face_mean: sparse.csr_matrix
    size_mm: float

    def optics(self, media: Sequence[Medium], field_b: FloatArray, band: int) -> Optics:
        """Return the coefficients of one band; field_b : (faces, 3) float, see `walls`."""
        index, diffusion, absorption = {}, {}, {}
        for region in self.ground.regions:
            medium = media[region]
            mu_a = float(medium.mu_a_per_mm[band])
            least = LEAST_SCATTERING / self.size_mm - mu_a
            mu_s = max(float(medium.mu_s_reduced_per_mm[band]), least)
            d_mm = asymptotic_diffusion_coefficient_mm(
                mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s, g=medium.g
            )
            fluence = 4 * medium.refractive_index**2
            index[region] = medium.refractive_index
            diffusion[region], absorption[region] = fluence * d_mm, fluence * mu_a
        return Optics(band, index, diffusion, absorption, field_b[:, band])

    def matrix(self, optics: Optics) -> sparse.csr_matrix:
        """Return D grad.grad + mu_a + b on walls, in phi^ = phi / (4 n^2), for one band."""
        ground, elements = self.ground, self.ground.elements
        cell = elements.grid.cell_mm
        shape = (len(elements.cells), MOMENTS)
        stiffness, mass = np.zeros(shape), np.zeros(shape)
        for region, moment in ground.moments.items():
            stiffness += optics.diffusion[region] * cell * moment
            mass += optics.absorption[region] * cell**3 * moment
        for kind, filling in self.wall_moments.items():
            rows = np.searchsorted(elements.cells, filling.cells)
            mass[rows] += optics.wall_b[self.wall_face[kind]] * filling.moments
        weight = mean_coefficient(ground.moments, optics.diffusion)
        filled = np.sum([moment[:, 0] for moment in ground.moments.values()], axis=0)
        ghost = elements.ghost_penalty(filled, weight)
        matrix = (elements.matrix(stiffness, mass) + ghost).tocsr()
        # A cell that the wall only grazes may leave a node with next to nothing of its own, and
        # no node beside it to hold it: multigrid cannot smooth there and the solve would stall.
        diagonal = matrix.diagonal()
        matrix.setdiag(np.maximum(diagonal, LEAST_HELD * np.median(diagonal)))
        return matrix

    def absorbing(self, optics: Optics) -> dict[int, FloatArray]:
        """Return for each region what it absorbs of a unit field at each node, (nodes,) float."""
        return {region: optics.absorption[region] * load for region, load in self.volume.items()}


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
    areas_mm2 = problem.walls.areas_mm2
    points, areas, owner = surface_points(problem.walls.triangles[faces], 1.5 * grid.cell_mm)
    face = faces[owner]
    at_wall, _ = grid.locate(points)
    cells = np.unique(np.concatenate([at_wall, *(f.cells for f in fillings.values())]))
    elements = Elements.over(grid, cells)
    moments = {r: elements.weighted(filling) for r, filling in fillings.items()}
    on_walls = WallPoints.of(elements, points, areas, face, areas_mm2)
    kind = wall_kind[face]
    return Lattice(
        Ground.of(elements, solids, moments, on_walls, len(problem.walls.faces)),
        {r: grid.cell_mm**3 * elements.load(moment) for r, moment in moments.items()},
        {
            int(k): surface_filling(points[kind == k], areas[kind == k], grid)
            for k in np.unique(kind)
        },
        {int(k): int(face[kind == k][0]) for k in np.unique(kind)},
        _face_mean(elements, points, areas / areas_mm2[face], face, len(areas_mm2)),
        float(problem.walls.size_mm.max()),
    )


def _face_mean(
    elements: Elements, points: FloatArray, share: FloatArray, face: IntArray, faces: int
) -> sparse.csr_matrix:
    """Return the matrix that takes a field to its mean on each face, (faces, nodes).

    points : (n, 3) float, spread over the faces;  share, face : (n,), of which face each stands
    for which share
    """
    total = sparse.csr_matrix((faces, elements.node_count))
    for first in range(0, len(points), _POINTS_AT_ONCE):
        part = slice(first, first + _POINTS_AT_ONCE)
        place = (face[part], np.arange(len(face[part])))
        spread = sparse.csr_matrix((share[part], place), shape=(faces, len(face[part])))
        total = total + spread @ elements.sampler(points[part])
    return total.tocsr()


def _scattering(problem: BodyProblem) -> dict[int, Mesh]:
    """Return the solids of the regions that scatter."""
    return {
        region: solid
        for region, (medium, solid) in enumerate(zip(problem.media, problem.solids, strict=True))
        if medium.kind == Kind.SCATTERS and solid is not None
    }
