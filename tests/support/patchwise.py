"""Quick beside the reference, patch by patch of a body's glowing surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick import solve_body

PATCHES = 36
SURE = 0.08
"""Only patches whose brightness the reference knows within this share (one s.e.) count."""
BRIGHT = 0.01
"""Only patches brighter than this share of the mean count."""


def patches_of(problem: BodyProblem) -> IntArray:
    """Return the patch of each face of the skin, -1 where it is not meant to glow.

    Patches are gathered about seeds as far from each other as can be, by place and, for thin
    bodies, by direction.
    """
    skin = problem.skin
    chosen = np.nonzero(problem.glows[skin])[0]
    centre, normal = problem.walls.centroids[skin][chosen], problem.walls.normals[skin][chosen]
    area = problem.walls.areas_mm2[skin][chosen]
    place = np.hstack([centre, 0.15 * float(problem.walls.size_mm.max()) * normal])
    seeds = [int(place[:, 2].argmax())]
    distance = cdist(place, place[seeds])[:, 0]
    while len(seeds) < min(PATCHES, len(chosen)):
        seeds.append(int(distance.argmax()))
        distance = np.minimum(distance, cdist(place, place[seeds[-1:]])[:, 0])
    middle = place[seeds]
    for _ in range(8):
        nearest = cdist(place, middle).argmin(axis=1)
        for k in range(len(middle)):
            mine = nearest == k
            if mine.any():
                middle[k] = np.average(place[mine], axis=0, weights=area[mine])
    patch = np.full(len(skin), -1)
    patch[chosen] = nearest
    return patch


@dataclass(frozen=True)
class Patches:
    """Exitance of patches per lumen [1/mm2], in the middle band, with standard errors or None."""

    mean: FloatArray
    error: FloatArray | None


@dataclass(frozen=True)
class Beside:
    """Quick beside the reference on bright patches.

    off   : (m,) float, quick over reference less one;  noise : (m,) float, standard error of that
    """

    cautions: tuple[str, ...]
    off: FloatArray
    noise: FloatArray

    def surely(self, errors: float) -> float:
        """By how much quick is off at the worst patch, so many standard errors less."""
        return float(np.maximum(np.abs(self.off) - errors * self.noise, 0.0).max(initial=0.0))

    @property
    def worst(self) -> float:
        """By how much quick is off at the worst patch for sure: two standard errors less."""
        return self.surely(2)

    @property
    def most(self) -> float:
        """The signed difference at the patch that `worst` speaks of."""
        sure = np.abs(self.off) - 2 * self.noise
        return float(self.off[sure.argmax()]) if len(sure) else 0.0

    @property
    def rms(self) -> float:
        """Root mean square of the differences, what chance adds to it taken out."""
        return float(np.sqrt(max(0.0, float((self.off**2 - self.noise**2).mean()))))


def gathered(
    problem: BodyProblem, patch: IntArray, out: FloatArray, square: FloatArray | None, count: int
) -> Patches:
    """Return the exitance of patches from shares of a light's flux per face of the skin."""
    inside = patch >= 0
    number = int(patch.max()) + 1
    area = np.bincount(patch[inside], problem.walls.areas_mm2[problem.skin][inside], number)
    mean = np.bincount(patch[inside], out[inside], number)
    if square is None:
        return Patches(mean / area, None)
    second = np.bincount(patch[inside], square[inside], number)
    return Patches(mean / area, np.sqrt(np.maximum(second - mean**2, 0) / (count - 1)) / area)


def by_quick(problem: BodyProblem, patch: IntArray) -> tuple[Patches, tuple[str, ...]]:
    """Return what quick says of the patches, and its trust line."""
    glow = solve_body(problem)
    area = problem.walls.areas_mm2[problem.skin]
    share = (glow.diffuse[0, 1] + glow.direct[0, 1]) * area
    return gathered(problem, patch, share, None, 0), glow.trust


def beside(quick: Patches, cautions: tuple[str, ...], truth: Patches) -> Beside:
    """Compare the two on patches that the reference finds bright."""
    assert truth.error is not None
    bright = (truth.mean > BRIGHT * truth.mean.mean()) & (truth.error < SURE * truth.mean)
    ratio = quick.mean[bright] / truth.mean[bright]
    return Beside(cautions, ratio - 1, ratio * truth.error[bright] / truth.mean[bright])
