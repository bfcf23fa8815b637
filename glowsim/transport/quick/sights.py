"""Rays between the walls of hollows: which patch of wall sees which, and how."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import AHEAD_MM, RayTarget, Target
from glowsim.optics.emission import MATT, luminance_shape
from glowsim.optics.facing import going_on, going_on_share
from glowsim.transport.problem import BARE, BodyProblem, Kind
from glowsim.transport.quick.beams import cosine_directions, even_points

RAYS_PER_PATCH = 600
RAYS_AT_ONCE = 400_000
MIRRORINGS = 12
"""What has been mirrored so often is taken in by the next wall."""


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


def g_toward_air(problem: BodyProblem) -> FloatArray:
    """Return the mean cosine of scattering behind each wall face, (faces,); 0 for the room."""
    g = np.array([m.g for m in problem.media] + [0.0])
    return g[np.where(air_side(problem) < 0, problem.outside, problem.inside)]


@dataclass(frozen=True)
class Sights:
    """Rays sent from patches, spread as diffuse light is, and the patch each ends on.

    A bare wall mirrors some of them, by chance, as often as light goes on along it (`going_on`); a
    ray flies on from there as another one, until it ends. So what is counted is light that walls
    do not mirror.

    origin, direction : (n, 3) float32 [mm];  distance_mm : (n,) float32
    patch, met        : (n,) int, from which patch to which, -1 for none and where it is mirrored
    sent              : (n,) float32, share that the wall it leaves would not mirror, mean 1
    leaves, arrives   : (n,) float32, the law of emission of either wall in that direction, over
                        that share
    after             : (n,) int, the ray that it is the mirrored rest of, -1 for none
    """

    origin: np.ndarray
    direction: np.ndarray
    distance_mm: np.ndarray
    patch: IntArray
    met: IntArray
    sent: np.ndarray
    leaves: np.ndarray
    arrives: np.ndarray
    after: IntArray

    @classmethod
    def sent_from(
        cls,
        problem: BodyProblem,
        target: Target,
        patch: IntArray,
        side: IntArray,
        of: range,
        seed: int,
    ) -> Sights:
        """Send rays from some patches of the walls; side : see `air_side`."""
        parts: list[Sights] = []
        count = 0
        for bundle in _bundles(problem, target, patch, side, of, seed):
            parts.append(
                replace(bundle, after=np.where(bundle.after >= 0, bundle.after + count, -1))
            )
            count += len(bundle.met)
        return cls.joined(parts)

    @classmethod
    def joined(cls, parts: Sequence[Sights]) -> Sights:
        """Return several bundles as one."""
        names = [field.name for field in fields(cls)]
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))

    def counts(self, patches: int) -> FloatArray:
        """Return how many rays go from each patch to each other, (4, patches, patches).

        As they are, weighted by the law of emission of the first, of the second, and of both.
        """
        good = self.met >= 0
        key = self.patch[good] * patches + self.met[good]
        sent = self.sent[good].astype(float)
        leaves, arrives = self.leaves[good].astype(float), self.arrives[good].astype(float)
        return np.stack(
            [
                np.bincount(key, sent * weight, patches * patches).reshape(patches, patches)
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
        met[self._after(near[stopped])] = -1
        return replace(self, met=met, arrives=arrives)

    def _after(self, stopped: IntArray) -> np.ndarray:
        """Return which rays are mirrored rests of some, (n,) bool."""
        gone = np.zeros(len(self.met) + 1, dtype=bool)
        ends = gone.copy()
        ends[stopped] = True
        for _ in range(MIRRORINGS):
            # The last entry stands for no ray.
            gone[:-1] = (ends | gone)[self.after]
        return gone[:-1]


def _bundles(
    problem: BodyProblem,
    target: Target,
    patch: IntArray,
    side: IntArray,
    of: range,
    seed: int,
) -> Iterator[Sights]:
    """Yield rays, those of some patches at a time."""
    rng = np.random.default_rng(seed)
    index, g = index_toward_air(problem), g_toward_air(problem)
    faces = np.nonzero((patch >= of.start) & (patch < of.stop))[0]
    faces = faces[np.argsort(patch[faces], kind="stable")]
    running = np.cumsum(problem.walls.areas_mm2[faces])
    last = np.searchsorted(patch[faces], np.array(of), side="right") - 1
    first_sum = np.concatenate([[0.0], running[last][:-1]])
    span = running[last] - first_sum
    batch = max(1, RAYS_AT_ONCE // RAYS_PER_PATCH)
    taken = 1 - going_on_share(index, g)
    walls = _Mirrors(problem, target, patch, side, index, g, taken)
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
        cosine = np.einsum("nd,nd->n", direction, normal)
        on = going_on(cosine, index[face], g[face])
        sent, leaves = _law(cosine, index[face], on, taken[face])
        yield walls.followed(origin, direction, of.start + owner, sent, leaves, rng)


@dataclass(frozen=True)
class _Mirrors:
    """The walls of hollows, as rays meet them; index, g : see `index_toward_air`;
    taken : (faces,) float, share of even light that does not go on along them."""

    problem: BodyProblem
    target: Target
    patch: IntArray
    side: IntArray
    index: FloatArray
    g: FloatArray
    taken: FloatArray

    def followed(
        self,
        origin: FloatArray,
        direction: FloatArray,
        owner: IntArray,
        sent: FloatArray,
        leaves: FloatArray,
        rng: np.random.Generator,
    ) -> Sights:
        """Follow rays until walls no longer mirror them."""
        after, parts, count = np.full(len(owner), -1), [], 0
        for left in range(MIRRORINGS, -1, -1):
            hits = self.target.first_hits(origin, direction)
            normal = self.problem.walls.normals[hits.face] * self.side[hits.face, None]
            along = np.einsum("nd,nd->n", direction, normal)
            index = self.index[hits.face]
            share = going_on(np.abs(along), index, self.g[hits.face])
            _, arrives = _law(np.abs(along), index, share, self.taken[hits.face])
            share = share * (hits.face >= 0)
            # Walls that mirror nothing leave chance as it is.
            on = rng.random(len(share)) < share if left and share.any() else share < 0
            met = np.where((hits.face >= 0) & ~on, self.patch[hits.face], -1)
            singles = (origin, direction, hits.distance_mm, sent, leaves, arrives)
            o, d, far, s, p, a = (part.astype(np.float32) for part in singles)
            parts.append(Sights(o, d, far, owner, met, s, p, a, after))
            if not on.any():
                break
            after, count = count + np.flatnonzero(on), count + len(on)
            origin = hits.point[on] + AHEAD_MM * normal[on]
            direction = direction[on] - 2 * along[on, None] * normal[on]
            owner, sent, leaves = owner[on], sent[on], leaves[on]
        return Sights.joined(parts)


def _law(
    cosine: FloatArray, index: FloatArray, on: FloatArray, taken: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the share of light that faces do not mirror toward a cosine, of mean 1, and the law of
    emission over it; on : see `going_on`, taken : 1 less its share of even light."""
    takes = (1 - on) / taken
    return takes, luminance_shape(cosine, n=index) / np.maximum(takes, 1e-9)


def _points_on(triangles: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return one random point on each triangle (Turk, Graphics Gems, 1990)."""
    u, v = rng.random((2, len(triangles), 1))
    root = np.sqrt(u)
    return (
        (1 - root) * triangles[:, 0] + root * (1 - v) * triangles[:, 1] + root * v * triangles[:, 2]
    )
