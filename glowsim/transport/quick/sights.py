"""Rays between the walls of hollows: which patch of wall sees which, and how."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, RayTarget, Target
from glowsim.optics.emission import MATT, luminance_shape
from glowsim.transport.problem import BARE, BodyProblem, Kind
from glowsim.transport.quick.beams import cosine_directions, even_points

RAYS_PER_PATCH = 600
RAYS_AT_ONCE = 400_000


def air_side(problem: BodyProblem) -> IntArray:
    """Return +1 for wall faces whose normal points into a hollow, -1 for away, 0 for none."""
    air_inside = problem.kind_of(problem.inside) == Kind.AIR
    air_outside = (problem.outside >= 0) & (problem.kind_of(problem.outside) == Kind.AIR)
    return np.where(air_inside, -1, np.where(air_outside, 1, 0))


def index_toward_air(problem: BodyProblem) -> FloatArray:
    """Return the index of refraction of bare faces that scatter, MATT for others, (faces,)."""
    index = np.array([m.refractive_index for m in problem.media] + [1.0])
    behind = np.where(air_side(problem) < 0, problem.outside, problem.inside)
    bare = (problem.kind_of(behind) == Kind.SCATTERS) & (problem.coat == BARE)
    return np.where(bare & (air_side(problem) != 0), index[behind], MATT)


@dataclass(frozen=True)
class Sights:
    """Rays sent from patches, spread as diffuse light is, and the patch each ends on.

    origin, direction : (n, 3) float32 [mm];  distance_mm : (n,) float32
    patch, met        : (n,) int, from which patch to which, -1 for none
    leaves, arrives   : (n,) float32, the law of emission of either wall in that direction
    """

    origin: np.ndarray
    direction: np.ndarray
    distance_mm: np.ndarray
    patch: IntArray
    met: IntArray
    leaves: np.ndarray
    arrives: np.ndarray

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
        """Return how many rays go from each patch to each other, (4, patches, patches).

        As they are, weighted by the law of emission of the first, of the second, and of both.
        """
        good = self.met >= 0
        key = self.patch[good] * patches + self.met[good]
        leaves, arrives = self.leaves[good].astype(float), self.arrives[good].astype(float)
        return np.stack(
            [
                np.bincount(key, weight, patches * patches).reshape(patches, patches)
                for weight in (np.ones(len(key)), leaves, arrives, leaves * arrives)
            ]
        )

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
        met, arrives = self.met.copy(), self.arrives.copy()
        met[near[stopped]] = patch[first + hits.face[stopped]]
        arrives[near[stopped]] = 1.0
        return replace(self, met=met, arrives=arrives)


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
    index = index_toward_air(problem)
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
        leaves = luminance_shape(np.einsum("nd,nd->n", direction, normal), n=index[face])
        against = problem.walls.normals[hits.face]
        cosine = np.abs(np.einsum("nd,nd->n", direction, against))
        arrives = luminance_shape(cosine, n=index[hits.face])
        yield (
            origin.astype(np.float32),
            direction.astype(np.float32),
            hits.distance_mm.astype(np.float32),
            of.start + owner,
            np.where(hits.face >= 0, patch[hits.face], -1),
            leaves.astype(np.float32),
            arrives.astype(np.float32),
        )


def _points_on(triangles: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return one random point on each triangle (Turk, Graphics Gems, 1990)."""
    u, v = rng.random((2, len(triangles), 1))
    root = np.sqrt(u)
    return (
        (1 - root) * triangles[:, 0] + root * (1 - v) * triangles[:, 1] + root * v * triangles[:, 2]
    )
