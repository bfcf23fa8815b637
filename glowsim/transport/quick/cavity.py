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
and let it in by the same (`optics.facing`), so a wall just beside a lit one sees less of it than
one across. Two kinds of light leave them: what comes from deep inside by p, b phi^ + (s - b) W,
with W what arrives, weighted by p; and what turned round at the face by q = (1 - s p) / (1 - s).
The second is eliminated beforehand: light that has turned round any number of times on its way
from one wall to the next makes `deep` out of F.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, RayTarget
from glowsim.optics.facing import deep_share, emission
from glowsim.transport.problem import BARE, BodyProblem, Kind
from glowsim.transport.quick.beams import cosine_directions, even_points

MOST_PATCHES = 1600
RAYS_PER_PATCH = 600


@dataclass(frozen=True)
class Cavity:
    """The patches of all hollows of a body and how they see each other.

    patch  : (faces,) int, patch of each wall face, -1 for one that meets no air
    area   : (p,) float [mm2]
    view   : (p, p) float, view factors; each row adds up to 1
    deep   : (p, p) float, the same for light from deep inside one wall that gets deep into another
    turned : (p, p) float, for light that turned round at one wall and gets deep into another
    keeps  : (p,) float, s, the share of even light from all sides that gets deep
    """

    patch: IntArray
    area: FloatArray
    view: FloatArray
    deep: FloatArray
    turned: FloatArray
    keeps: FloatArray

    def gather(self, per_face: FloatArray) -> FloatArray:
        """Add up (faces, k) over each patch, (p, k)."""
        inside = self.patch >= 0
        rows, count = self.patch[inside], len(self.area)
        chosen = per_face[inside]
        return np.stack(
            [np.bincount(rows, chosen[:, k], count) for k in range(chosen.shape[1])], axis=1
        )

    def sent(self, into_air: FloatArray, turned: FloatArray, band: int) -> FloatArray:
        """Return what first flight sends into the air in one band per area, (2 p, lights).

        into_air, turned : (lights, faces, 3) float; see `flight.Flight`
        """
        both = [self.gather(light[:, :, band].T) for light in (into_air, turned)]
        return np.concatenate(both) / np.tile(self.area, 2)[:, None]

    def averager(self, areas_mm2: FloatArray) -> sparse.csr_matrix:
        """Return the matrix that averages a value per face over each patch, (p, faces)."""
        inside = np.nonzero(self.patch >= 0)[0]
        rows = self.patch[inside]
        weight = areas_mm2[inside] / self.area[rows]
        shape = (len(self.area), len(self.patch))
        return sparse.csr_matrix((weight, (rows, inside)), shape=shape)

    def arriving(self, b: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return what turns light sent out into all light that arrives, W.

        (p, p) for light from the field, (p, 2 p) for what first flight sends (`sent`).
        b : (p,) float, each patch's coefficient for one band.
        """
        returned = np.eye(len(self.area)) - self.deep * (self.keeps - b)
        all_light = linalg.solve(returned, np.hstack([self.deep, self.turned]))
        return all_light[:, : len(self.area)], all_light


def cavity_of(
    problem: BodyProblem, target: RayTarget, wall_class: IntArray, seed: int
) -> Cavity | None:
    """Return the cavity of a body, or None if it has no air inside.

    wall_class : (faces,) int; faces of different class never share a patch.
    """
    toward_air = air_side(problem)
    faces = np.nonzero(toward_air != 0)[0]
    if len(faces) == 0:
        return None
    normal = problem.walls.normals * toward_air[:, None]
    patch = np.full(len(problem.walls.faces), -1, dtype=np.int64)
    patch[faces] = _clusters(problem, faces, normal[faces], wall_class[faces])
    areas = problem.walls.areas_mm2
    area = np.bincount(patch[faces], areas[faces]).astype(float)
    index = _index_toward_air(problem)
    counted = _seen(problem, target, faces, patch, normal, index, seed)
    keeps = np.ones(len(area))
    bare = faces[index[faces] > 0]
    keeps[patch[bare]] = _by_index(deep_share, index[bare])
    return Cavity(patch, area, *_exchange(*_reciprocal(counted, area), area, keeps), keeps)


def air_side(problem: BodyProblem) -> IntArray:
    """Return +1 for wall faces whose normal points into a hollow, -1 for away, 0 for none."""
    air_inside = problem.kind_of(problem.inside) == Kind.AIR
    air_outside = (problem.outside >= 0) & (problem.kind_of(problem.outside) == Kind.AIR)
    return np.where(air_inside, -1, np.where(air_outside, 1, 0))


def _index_toward_air(problem: BodyProblem) -> FloatArray:
    """Return the refractive index of bare faces of scattering material, 0 for others, (faces,)."""
    index = np.array([m.refractive_index for m in problem.media] + [1.0])
    behind = np.where(air_side(problem) < 0, problem.outside, problem.inside)
    bare = (problem.kind_of(behind) == Kind.SCATTERS) & (problem.coat == BARE)
    return np.where(bare & (air_side(problem) != 0), index[behind], 0.0)


def _by_index(law: Callable[..., ArrayLike], index: FloatArray, *values: FloatArray) -> FloatArray:
    """Return a law for each refractive index, 1 for those of 0; all (n,) float."""
    result = np.ones(len(index))
    for n in np.unique(index[index > 0]):
        mine = index == n
        result[mine] = law(*(value[mine] for value in values), float(n))
    return result


def _clusters(
    problem: BodyProblem, faces: IntArray, normal: FloatArray, wall_class: IntArray
) -> IntArray:
    """Gather faces into patches by place, direction and class; return the patch of each."""
    centre = problem.walls.centroids[faces]
    area = problem.walls.areas_mm2[faces].sum()
    way = np.abs(normal).argmax(axis=1) * 2 + (
        np.take_along_axis(normal, np.abs(normal).argmax(axis=1)[:, None], axis=1)[:, 0] > 0
    )
    size = np.sqrt(area / MOST_PATCHES)
    while True:
        key = np.column_stack([np.floor(centre / size).astype(np.int64), way, wall_class])
        _, patch = np.unique(key, axis=0, return_inverse=True)
        if patch.max() < MOST_PATCHES:
            return patch.ravel()
        size *= 1.15


def _seen(
    problem: BodyProblem,
    target: RayTarget,
    faces: IntArray,
    patch: IntArray,
    normal: FloatArray,
    index: FloatArray,
    seed: int,
) -> FloatArray:
    """Return how much of the diffuse light of each patch meets each other patch, (4, p, p).

    As it is, weighted by the law of emission of the first, of the second, and of both.
    """
    rng = np.random.default_rng(seed)
    count = int(patch.max()) + 1
    weight = problem.walls.areas_mm2[faces]
    order = np.argsort(patch[faces], kind="stable")
    faces, weight = faces[order], weight[order]
    running = np.cumsum(weight)
    last = np.searchsorted(patch[faces], np.arange(count), side="right") - 1
    first_sum = np.concatenate([[0.0], running[last][:-1]])
    span = running[last] - first_sum
    seen = np.zeros((4, count, count))
    batch = max(1, 400_000 // RAYS_PER_PATCH)
    for start in range(0, count, batch):
        owner = np.repeat(np.arange(start, min(start + batch, count)), RAYS_PER_PATCH)
        number = np.tile(np.arange(RAYS_PER_PATCH), len(owner) // RAYS_PER_PATCH)
        spread = (number + rng.random(len(owner))) / RAYS_PER_PATCH
        pick = np.searchsorted(running, first_sum[owner] + spread * span[owner])
        face = faces[np.minimum(pick, len(faces) - 1)]
        origin = _points_on(problem.walls.triangles[face], rng)
        shift = rng.random((count, 2))[owner]
        direction = cosine_directions(normal[face], even_points(number, shift))
        hits = target.first_hits(origin + AHEAD_MM * normal[face], direction)
        met = np.where(hits.face >= 0, patch[hits.face], -1)
        good = met >= 0
        key = owner[good] * count + met[good]
        leaves = np.einsum("nd,nd->n", direction, normal[face])[good]
        there = hits.face[good]
        arrives = np.abs(np.einsum("nd,nd->n", direction[good], normal[there]))
        sent = _by_index(emission, index[face][good], leaves)
        taken = _by_index(emission, index[there], arrives)
        for law, counts in enumerate((np.ones(len(sent)), sent, taken, sent * taken)):
            seen[law] += np.bincount(key, counts, count * count).reshape(count, count)
    return seen / RAYS_PER_PATCH


def _points_on(triangles: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return one random point on each triangle (Turk, Graphics Gems, 1990)."""
    u, v = rng.random((2, len(triangles), 1))
    root = np.sqrt(u)
    return (
        (1 - root) * triangles[:, 0] + root * (1 - v) * triangles[:, 1] + root * v * triangles[:, 2]
    )


def _reciprocal(seen: FloatArray, area: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return view factors that obey A_i F_ij = A_j F_ji and whose rows add up to 1, (p, p) each:
    plain, weighted by the law of emission of the row's patch, and by both patches' laws.

    The counted ones do so only within their noise. Symmetric scaling (Sinkhorn & Knopp, Pacific
    J. Math. 21, 343 (1967)) restores both, so that no light is made or lost. The laws are scaled
    so that each patch sends out all of its light, too.
    """
    exchange, from_row, to_column, both = seen * area[:, None]
    exchange = (exchange + exchange.T) / 2
    from_row = (from_row + to_column.T) / 2
    both = (both + both.T) / 2
    scale = np.ones(len(area))
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
