"""Light inside hollows: what leaves one wall and arrives at another.

Walls are gathered into patches. With phi^ = phi / (4 n^2) the diffuse light just inside a wall,
E what arrives from the cavity and b = 2 n^2 / A, a wall of scattering material gives the net
flux J = b (phi^ - E) and sends M = b phi^ + (1 - b) E into the cavity; an opaque wall of
reflectance R is the same with phi^ = 0 and b = 1 - R, an opening with b = 1. (The n^2 belongs
to any index step that diffuse light crosses; derived from Haskell et al., JOSA A 11, 2727
(1994), whose condition reads phi + 2 A D dphi/dn = 0 without incoming light.) What arrives is
E = F M with view factors F found by rays, so E = (1 - F (1 - b))^-1 F (b phi^ + M_first). With
reciprocal F this couples patches symmetrically, and the whole solve stays symmetric positive.

Bare walls of scattering material are not matt. They send light from the field out by a law p(mu)
and let it in by the same (`optics.emission`), so a wall just beside a lit one sees less of it than
one across. Two kinds of light leave them: what comes from deep inside by p, b phi^ + (s - b) W,
with W what arrives, weighted by p; and what turned round at the face by q = (1 - s p) / (1 - s).
The second is eliminated beforehand: light that has turned round any number of times on its way
from one wall to the next makes `deep` out of F.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import linalg, sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import Target
from glowsim.geometry.rows import unique_rows
from glowsim.optics.facing import deep_share, going_on_share
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick.sights import (
    RAYS_PER_PATCH,
    Sights,
    air_side,
    g_toward_air,
    index_toward_air,
)

MOST_PATCHES = 1600
BOARD_PATCHES = 6
"""Patches of each side of a light board in a hollow, about, at most."""


@dataclass(frozen=True)
class Cavity:
    """The patches of all hollows of a body and how they see each other.

    patch  : (faces,) int, patch of each wall face, -1 for one that meets no air
    area   : (p,) float [mm2]
    view   : (p, p) float, view factors; each row adds up to 1
    deep   : (p, p) float, the same for light from deep inside one wall that gets deep into another
    turned : (p, p) float, for light that turned round at one wall and gets deep into another
    keeps  : (p,) float, s, the share of even light from all sides that gets deep
    takes  : (p,) float, the share of it that does not go on along the wall: what does gets to
             other walls, as rays were counted
    sights : the rays that these were counted by
    scale  : (p,) float, what made the counts add up
    """

    patch: IntArray
    area: FloatArray
    view: FloatArray
    deep: FloatArray
    turned: FloatArray
    keeps: FloatArray
    takes: FloatArray
    sights: Sights
    scale: FloatArray

    @classmethod
    def counted(
        cls,
        patch: IntArray,
        area: FloatArray,
        counts: FloatArray,
        keeps: FloatArray,
        takes: FloatArray,
        sights: Sights,
        scale: FloatArray,
    ) -> Cavity:
        """Work out the exchange from how many rays met what, (4, p, p), see `Sights.counts`."""
        # To light that does not go on, patches are as large as they take of it.
        worth = area * takes
        view, by_law, by_both, scale = _reciprocal(counts / RAYS_PER_PATCH, worth, scale)
        view, deep, turned = _exchange(view, by_law, by_both, worth, keeps / takes)
        return cls(patch, area, view, deep / takes, turned / takes, keeps, takes, sights, scale)

    def gather(self, per_face: FloatArray) -> FloatArray:
        """Add up (faces, k) over each patch, (p, k)."""
        inside = self.patch >= 0
        rows, count = self.patch[inside], len(self.area)
        chosen = per_face[inside]
        return np.stack(
            [np.bincount(rows, chosen[:, k], count) for k in range(chosen.shape[1])], axis=1
        )

    def averager(self, areas_mm2: FloatArray) -> sparse.csr_matrix:
        """Return the matrix that averages a value per face over each patch, (p, faces)."""
        inside = np.nonzero(self.patch >= 0)[0]
        rows = self.patch[inside]
        weight = areas_mm2[inside] / self.area[rows]
        shape = (len(self.area), len(self.patch))
        return sparse.csr_matrix((weight, (rows, inside)), shape=shape)

    def sent(self, into_air: FloatArray, turned: FloatArray, band: int) -> FloatArray:
        """Return what first flight sends into the air in one band per area, (2 p, lights).

        into_air, turned : (lights, faces, 3) float; see `flight.Flight`
        """
        both = [self.gather(light[:, :, band].T) for light in (into_air, turned)]
        return np.concatenate(both) / np.tile(self.area, 2)[:, None]

    def exchange(self, b: FloatArray) -> Exchange:
        """Return how patches light each other, each with its coefficient b, (p,), in one band."""
        returned = np.eye(len(self.area)) - self.deep * (self.keeps - b)
        factors, pivots = linalg.lu_factor(returned, check_finite=False)
        return Exchange(self.deep, self.turned, factors, pivots)


@dataclass(frozen=True)
class Exchange:
    """From light that patches send out to all the light W that arrives at them.

    factors, pivots : of 1 - deep (s - b)
    """

    deep: FloatArray
    turned: FloatArray
    factors: FloatArray
    pivots: IntArray

    def arriving(self, sent: FloatArray) -> FloatArray:
        """Return what arrives for what is sent from the field, (p, k) each, per area."""
        return self._solved(self.deep @ sent, 0)

    def first_arriving(self, sent: FloatArray) -> FloatArray:
        """Return what arrives, (p, k), for what first flight sends, (2 p, k): see `Cavity.sent`."""
        count = len(self.deep)
        return self._solved(self.deep @ sent[:count] + self.turned @ sent[count:], 0)

    def heard(self, arriving: FloatArray) -> FloatArray:
        """Return the transpose of `arriving`: for readings of what arrives, of what is sent."""
        return np.asarray(self.deep.T @ self._solved(arriving, 1))

    def first_heard(self, arriving: FloatArray) -> FloatArray:
        """Return the transpose of `first_arriving`."""
        back = self._solved(arriving, 1)
        return np.concatenate([self.deep.T @ back, self.turned.T @ back])

    def _solved(self, right: FloatArray, transposed: int) -> FloatArray:
        # The library counts the pivots up and down again in place while it solves: each thread
        # needs its own.
        factors = (self.factors, self.pivots.copy())
        return linalg.lu_solve(factors, right, transposed, check_finite=False)

    def in_type(self, number_type: type[np.floating]) -> Exchange:
        """Return the same in numbers of another type."""
        return Exchange(
            self.deep.astype(number_type, copy=False),
            self.turned.astype(number_type, copy=False),
            self.factors.astype(number_type, copy=False),
            self.pivots,
        )


def cavity_of(
    problem: BodyProblem, target: Target, wall_class: IntArray, seed: int
) -> Cavity | None:
    """Return the cavity of a body, or None if it has no air inside.

    wall_class : (faces,) int; faces of different class never share a patch.
    """
    side = air_side(problem)
    faces = np.nonzero(side != 0)[0]
    if len(faces) == 0:
        return None
    patch = np.full(len(problem.walls.faces), -1, dtype=np.int64)
    patch[faces] = _clusters(problem, faces, side, wall_class, MOST_PATCHES)
    sights = Sights.sent_from(problem, target, patch, side, range(int(patch.max()) + 1), seed)
    area = _areas(problem, patch)
    count = len(area)
    index = index_toward_air(problem)
    keeps, takes, bare = np.ones(count), np.ones(count), faces[index[faces] > 0]
    takes[patch[bare]] = 1 - going_on_share(index[bare], g_toward_air(problem)[bare])
    keeps[patch[bare]] = np.minimum(deep_share(index[bare]), takes[patch[bare]])
    return Cavity.counted(patch, area, sights.counts(count), keeps, takes, sights, np.ones(count))


def cavity_with_boards(
    cavity: Cavity | None, problem: BodyProblem, target: Target, first: int, seed: int
) -> Cavity | None:
    """Return the cavity of a body with light boards in its hollows.

    problem, target : of the body with its boards, whose faces come from number `first` on
    Where a board stands in the way of rays that walls were counted by, they now end on it.
    """
    if cavity is None:
        return None
    side = air_side(problem)
    faces = np.nonzero(side != 0)[0]
    boards = faces[faces >= first]
    more = np.full(len(problem.walls.faces) - first, -1, dtype=np.int64)
    patch = np.concatenate([cavity.patch, more])
    if len(boards) == 0:
        return replace(cavity, patch=patch)
    known = len(cavity.area)
    most = BOARD_PATCHES * len(np.unique(problem.inside[boards]))
    patch[boards] = known + _clusters(problem, boards, side, problem.inside, most)
    area = _areas(problem, patch)
    count = len(area)
    sights = cavity.sights.blocked(problem, patch, first)
    own = Sights.sent_from(problem, target, patch, side, range(known, count), seed)
    added = np.ones(count - known)
    return Cavity.counted(
        patch,
        area,
        sights.counts(count) + own.counts(count),
        np.concatenate([cavity.keeps, added]),
        np.concatenate([cavity.takes, added]),
        cavity.sights,
        np.concatenate([cavity.scale, added]),
    )


def _areas(problem: BodyProblem, patch: IntArray) -> FloatArray:
    inside = patch >= 0
    return np.bincount(patch[inside], problem.walls.areas_mm2[inside]).astype(float)


def _clusters(
    problem: BodyProblem, faces: IntArray, side: IntArray, wall_class: IntArray, most: int
) -> IntArray:
    """Gather faces into patches by place, direction and class; return the patch of each."""
    centre, normal = problem.walls.centroids[faces], problem.walls.normals[faces]
    normal = normal * side[faces, None]
    area = problem.walls.areas_mm2[faces].sum()
    way = np.abs(normal).argmax(axis=1) * 2 + (
        np.take_along_axis(normal, np.abs(normal).argmax(axis=1)[:, None], axis=1)[:, 0] > 0
    )
    size = np.sqrt(area / most)
    while True:
        place = np.floor((centre - centre.min(axis=0)) / size).astype(np.int64)
        key = np.column_stack([place, way, wall_class[faces]])
        _, patch = unique_rows(key)
        if patch.max() < most or not place.any():
            return patch
        size *= 1.15


def _reciprocal(
    seen: FloatArray, area: FloatArray, scale: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return view factors that obey A_i F_ij = A_j F_ji and whose rows add up to 1, (p, p) each:
    plain, weighted by the law of emission of the row's patch, and by both patches' laws.

    The counted ones do so only within their noise. Symmetric scaling (Sinkhorn & Knopp, Pacific
    J. Math. 21, 343 (1967)) restores both, so that no light is made or lost. The laws are scaled
    so that each patch sends out all of its light, too. `scale` is where to start from; the one
    found is returned too.
    """
    exchange, from_row, to_column, both = seen * area[:, None]
    # A patch in a corner so tight that no ray gets away from it or to it sees itself alone.
    blind = (exchange.sum(axis=0) + exchange.sum(axis=1)) <= 0
    for table in (exchange, from_row, to_column, both):
        table[blind, blind] = area[blind]
    exchange = (exchange + exchange.T) / 2
    from_row = (from_row + to_column.T) / 2
    both = (both + both.T) / 2
    scale = scale.copy()
    for _ in range(200):
        total = scale * (exchange @ scale)
        if np.allclose(total, area, rtol=1e-12, atol=0):
            break
        scale *= np.sqrt(area / np.maximum(total, 1e-300))
    law = area / np.maximum(scale * (from_row @ scale), 1e-300)
    row, column = scale[:, None] / area[:, None], scale[None, :]
    return (
        exchange * row * column,
        from_row * (law[:, None] * row) * column,
        both * (law[:, None] * row) * (law * column),
        scale,
    )


def _exchange(
    view: FloatArray, by_law: FloatArray, by_both: FloatArray, area: FloatArray, keeps: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return `view`, `deep` and `turned` of a Cavity."""
    if (keeps == 1.0).all():
        return view, view, np.zeros_like(view)
    # Light that leaves by q has the weight (1 - s p) / (1 - s), and none where all gets deep.
    fresh = np.where(keeps < 1, 1 / np.maximum(1 - keeps, 1e-9), 0.0)
    sent_by_law = (by_law * area[:, None]).T / area[:, None]
    deep_to_turned = sent_by_law - keeps[:, None] * by_both
    turned_to_deep = (by_law - by_both * keeps) * fresh
    among_turned = (
        view - keeps[:, None] * by_law - (sent_by_law - keeps[:, None] * by_both) * keeps
    ) * fresh
    turned = linalg.solve((np.eye(len(keeps)) - among_turned).T, turned_to_deep.T).T
    return view, by_both + turned @ deep_to_turned, turned
