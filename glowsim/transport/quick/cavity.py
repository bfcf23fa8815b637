"""Light inside hollows: what leaves one wall and arrives at another.

Walls are gathered into patches. With phi^ = phi / (4 n^2) the diffuse light just inside a wall,
E what arrives from the cavity and b = 2 n^2 / A, a wall of scattering material gives the net
flux J = b (phi^ - E) and sends M = b phi^ + (1 - b) E into the cavity; an opaque wall of
reflectance R is the same with phi^ = 0 and b = 1 - R, an opening with b = 1. (The n^2 belongs
to any index step that diffuse light crosses; derived from Haskell et al., JOSA A 11, 2727
(1994), whose condition reads phi + 2 A D dphi/dn = 0 without incoming light.) What arrives is
E = F M with view factors F found by rays, so E = (1 - F (1 - b))^-1 F (b phi^ + M_first). With
reciprocal F this couples patches symmetrically, and the whole solve stays symmetric positive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, RayTarget, Target
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.quick.beams import cosine_directions, even_points

MOST_PATCHES = 1600
RAYS_PER_PATCH = 600
BOARD_PATCHES = 6
"""Patches of each side of a light board in a hollow, about, at most."""
RAYS_AT_ONCE = 400_000


@dataclass(frozen=True)
class Cavity:
    """The patches of all hollows of a body and how they see each other.

    patch  : (faces,) int, patch of each wall face, -1 for one that meets no air
    area   : (p,) float [mm2]
    view   : (p, p) float, view factors; each row adds up to 1
    sights : the rays that these were counted by
    scale  : (p,) float, what made the counts add up
    """

    patch: IntArray
    area: FloatArray
    view: FloatArray
    sights: Sights
    scale: FloatArray

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

    def exchange(self, b: FloatArray) -> Exchange:
        """Return how patches light each other, each with its coefficient b, (p,), in one band."""
        returned = np.eye(len(self.area)) - self.view * (1 - b)
        return Exchange(self.view, *linalg.lu_factor(returned, check_finite=False))


@dataclass(frozen=True)
class Exchange:
    """From light that patches send out first to all the light that arrives at them."""

    view: FloatArray
    factors: FloatArray
    pivots: IntArray

    def arriving(self, first: FloatArray) -> FloatArray:
        """Return what arrives for what is sent first, (p, k) each, per area."""
        return self._solved(self.view @ first, 0)

    def heard(self, arriving: FloatArray) -> FloatArray:
        """Return the transpose of `arriving`: for readings of what arrives, of what is sent."""
        return self.view.T @ self._solved(arriving, 1)

    def _solved(self, right: FloatArray, transposed: int) -> FloatArray:
        # The library counts the pivots up and down again in place while it solves: each thread
        # needs its own.
        factors = (self.factors, self.pivots.copy())
        return linalg.lu_solve(factors, right, transposed, check_finite=False)

    def in_type(self, number_type: type[np.floating]) -> Exchange:
        """Return the same in numbers of another type."""
        return Exchange(
            self.view.astype(number_type, copy=False),
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
    sights = Sights.sent(problem, target, patch, side, range(int(patch.max()) + 1), seed)
    area = _areas(problem, patch)
    view, scale = _reciprocal(sights.counts(len(area)) / RAYS_PER_PATCH, area)
    return Cavity(patch, area, view, sights, scale)


def cavity_with_boards(
    cavity: Cavity | None, problem: BodyProblem, target: Target, first: int, seed: int
) -> Cavity | None:
    """Return the cavity of a body with light boards in its hollows.

    problem, target : of the body with its boards, whose faces come from number `first` on
    Where a board stands in the way of rays that walls were counted by, they now end on it.
    """
    side = air_side(problem)
    faces = np.nonzero(side != 0)[0]
    boards = faces[faces >= first]
    if cavity is None or len(boards) == 0:
        more = len(problem.walls.faces) - first
        return cavity and Cavity(
            np.concatenate([cavity.patch, np.full(more, -1, dtype=np.int64)]),
            *(cavity.area, cavity.view, cavity.sights, cavity.scale),
        )
    known = len(cavity.area)
    patch = np.concatenate([cavity.patch, np.full(len(problem.walls.faces) - first, -1)])
    most = BOARD_PATCHES * len(np.unique(problem.inside[boards]))
    patch[boards] = known + _clusters(problem, boards, side, problem.inside, most)
    area = _areas(problem, patch)
    count = len(area)
    sights = cavity.sights.blocked(problem, patch, first)
    own = Sights.sent(problem, target, patch, side, range(known, count), seed)
    seen = (sights.counts(count) + own.counts(count)) / RAYS_PER_PATCH
    scale = np.concatenate([cavity.scale, np.ones(count - known)])
    view, scale = _reciprocal(seen, area, scale)
    return Cavity(patch, area, view, cavity.sights, scale)


def air_side(problem: BodyProblem) -> IntArray:
    """Return +1 for wall faces whose normal points into a hollow, -1 for away, 0 for none."""
    air_inside = problem.kind_of(problem.inside) == Kind.AIR
    air_outside = (problem.outside >= 0) & (problem.kind_of(problem.outside) == Kind.AIR)
    return np.where(air_inside, -1, np.where(air_outside, 1, 0))


@dataclass(frozen=True)
class Sights:
    """Rays sent from patches, spread as diffuse light is, and the patch each ends on.

    origin, direction : (n, 3) float32 [mm];  distance_mm : (n,) float32
    patch, met        : (n,) int, from which patch to which, -1 for none
    """

    origin: np.ndarray
    direction: np.ndarray
    distance_mm: np.ndarray
    patch: IntArray
    met: IntArray

    @classmethod
    def sent(
        cls,
        problem: BodyProblem,
        target: Target,
        patch: IntArray,
        side: IntArray,
        of: range,
        seed: int,
    ) -> Sights:
        """Send rays from some patches of the walls; side : see `air_side`."""
        parts = list(_bundles(problem, target, patch, side, of, seed))
        return cls(*(np.concatenate(part) for part in zip(*parts, strict=True)))

    def counts(self, patches: int) -> FloatArray:
        """Return how many rays go from each patch to each other, (patches, patches)."""
        good = self.met >= 0
        key = self.patch[good] * patches + self.met[good]
        counted = np.bincount(key, minlength=patches * patches)
        return counted.reshape(patches, patches).astype(float)

    def blocked(self, problem: BodyProblem, patch: IntArray, first: int) -> Sights:
        """Return the same rays where faces from number `first` on stand in the way."""
        boards = problem.walls.triangles[first:]
        low, high = boards.min(axis=(0, 1)), boards.max(axis=(0, 1))
        centre, reach = (low + high) / 2, float(np.linalg.norm(high - low)) / 2
        away = centre.astype(np.float32) - self.origin
        along = np.clip(np.einsum("nd,nd->n", away, self.direction), 0, self.distance_mm)
        off = away - along[:, None] * self.direction
        near = np.nonzero(np.einsum("nd,nd->n", off, off) < reach**2)[0]
        hits = RayTarget(boards).first_hits(
            self.origin[near].astype(float), self.direction[near].astype(float)
        )
        stopped = hits.distance_mm < self.distance_mm[near]
        met = self.met.copy()
        met[near[stopped]] = patch[first + hits.face[stopped]]
        return Sights(self.origin, self.direction, self.distance_mm, self.patch, met)


def _bundles(
    problem: BodyProblem,
    target: Target,
    patch: IntArray,
    side: IntArray,
    of: range,
    seed: int,
) -> Iterator[tuple[np.ndarray, ...]]:
    """Yield the parts of `Sights`, some patches at a time."""
    rng = np.random.default_rng(seed)
    faces = np.nonzero((patch >= of.start) & (patch < of.stop))[0]
    faces = faces[np.argsort(patch[faces], kind="stable")]
    running = np.cumsum(problem.walls.areas_mm2[faces])
    last = np.searchsorted(patch[faces], np.array(of), side="right") - 1
    first_sum = np.concatenate([[0.0], running[last][:-1]])
    span = running[last] - first_sum
    batch = max(1, RAYS_AT_ONCE // RAYS_PER_PATCH)
    for start in range(0, len(of), batch):
        owner = np.repeat(np.arange(start, min(start + batch, len(of))), RAYS_PER_PATCH)
        number = np.tile(np.arange(RAYS_PER_PATCH), len(owner) // RAYS_PER_PATCH)
        spread = (number + rng.random(len(owner))) / RAYS_PER_PATCH
        pick = np.searchsorted(running, first_sum[owner] + spread * span[owner])
        face = faces[np.minimum(pick, len(faces) - 1)]
        normal = problem.walls.normals[face] * side[face, None]
        origin = _points_on(problem.walls.triangles[face], rng) + AHEAD_MM * normal
        shift = rng.random((len(of), 2))[owner]
        direction = cosine_directions(normal, even_points(number, shift))
        hits = target.first_hits(origin, direction)
        yield (
            origin.astype(np.float32),
            direction.astype(np.float32),
            hits.distance_mm.astype(np.float32),
            of.start + owner,
            np.where(hits.face >= 0, patch[hits.face], -1),
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
        _, patch = np.unique(key, axis=0, return_inverse=True)
        if patch.max() < most or not place.any():
            return patch.ravel()
        size *= 1.15


def _points_on(triangles: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return one random point on each triangle (Turk, Graphics Gems, 1990)."""
    u, v = rng.random((2, len(triangles), 1))
    root = np.sqrt(u)
    return (
        (1 - root) * triangles[:, 0] + root * (1 - v) * triangles[:, 1] + root * v * triangles[:, 2]
    )


def _reciprocal(
    seen: FloatArray, area: FloatArray, scale: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Return view factors that obey A_i F_ij = A_j F_ji and whose rows add up to 1.

    The counted ones do so only within their noise. Symmetric scaling (Sinkhorn & Knopp, Pacific
    J. Math. 21, 343 (1967)) restores both, so that no light is made or lost. `scale` is where to
    start from; the one found is returned too.
    """
    exchange = seen * area[:, None]
    exchange = (exchange + exchange.T) / 2
    scale = np.ones(len(area)) if scale is None else scale.copy()
    for _ in range(200):
        total = scale * (exchange @ scale)
        if np.allclose(total, area, rtol=1e-12, atol=0):
            break
        scale *= np.sqrt(area / np.maximum(total, 1e-300))
    return exchange * scale[:, None] * scale[None, :] / area[:, None], scale
