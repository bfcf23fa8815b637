"""Both solvers behind one call: a problem goes in, shares of the light come out, each with what
it takes to judge it. Every run is held to its account of the light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem, Kind
from glowsim.transport.quick import QuickBody
from glowsim.transport.reference import Goal, Tallies
from glowsim.transport.reference.run import Follower
from tests.support.monte_carlo import Share, of_moments, of_samples

RUNS = 16
"""Runs into which the reference's photons are split where an error comes from their spread."""
Where = FloatArray | slice
ALL = slice(None)


@dataclass(frozen=True)
class Leaving:
    """What becomes of the light of each lamp in the middle band, as shares of its flux.

    out      : (lights, k) float, leaves by each face of the skin
    square   : (lights, k) float, mean square of a photon's share of that; None without photons
    photons  : of each light
    direct   : (runs, lights, k) float, the part of `out` that never scattered
    direct_moment : (lights, k, 3) float, sum of direct light times its direction, all bands
    absorbed : (runs, lights, regions) float;  coats : (runs, lights) float
    unaccounted : largest share of any lamp's light, in any band, that ended nobody knows where
    """

    problem: BodyProblem
    out: FloatArray
    square: FloatArray | None
    photons: int
    direct: FloatArray
    direct_moment: FloatArray
    absorbed: FloatArray
    coats: FloatArray
    unaccounted: float

    @property
    def centroids(self) -> FloatArray:
        """Centres of the faces of the skin, (k, 3) float [mm]."""
        return self.problem.walls.centroids[self.problem.skin]

    @property
    def areas(self) -> FloatArray:
        """Areas of the faces of the skin, (k,) float [mm2]."""
        return self.problem.walls.areas_mm2[self.problem.skin]

    def leaves(
        self, where: Where = ALL, *, light: int = 0, weight: FloatArray | float = 1.0
    ) -> Share:
        """Return the share that leaves by some faces of the skin, each counted by its weight."""
        mean = float((self.out[light, where] * weight).sum())
        if self.square is None:
            return Share(mean, None)
        square = float((self.square[light, where] * np.square(weight)).sum())
        return of_moments(mean, square, self.photons)

    def exitance(self, weight: FloatArray, *, light: int = 0) -> Share:
        """Return the mean exitance under a weight for each face of the skin [1/mm2]."""
        return self.leaves(light=light, weight=weight).times(1 / float(weight @ self.areas))

    def unscattered(self, where: Where = ALL, *, light: int = 0) -> Share:
        """Return the share that leaves by some faces of the skin without being scattered."""
        return of_samples(self.direct[:, light, where].sum(axis=1))

    def stays_in(self, region: int, *, light: int = 0) -> Share:
        """Return the share that a region absorbs."""
        return of_samples(self.absorbed[:, light, region])

    def stays_in_coats(self, *, light: int = 0) -> Share:
        """Return the share that coats absorb."""
        return of_samples(self.coats[:, light])


Solve = Callable[..., Leaving]


def quick(problem: BodyProblem, photons: int = 0, seed: int = 0) -> Leaving:
    """Solve by quick; `photons` is for the other one."""
    response = QuickBody(problem, seed).respond(problem.emitters, problem.boards)
    out = response.diffuse + response.direct
    ended = out.sum(axis=2) + response.absorbed.sum(axis=2) + response.in_coats + response.lost
    # Light is kept to the residual of the solve; across air, to what view factors add up to.
    hollow = any(medium.kind == Kind.AIR for medium in problem.media)
    unaccounted = float(abs(ended - 1).max())
    assert unaccounted < (1e-3 if hollow else 1e-6)
    assert (response.lost < 1e-3).all()
    return Leaving(
        problem,
        out[:, 1],
        None,
        0,
        response.direct[None, :, 1],
        response.direct_moment,
        response.absorbed[None, :, 1],
        response.in_coats[None, :, 1],
        unaccounted,
    )


def reference(
    problem: BodyProblem, photons: int = 100_000, seed: int = 1, jumps: bool = False
) -> Leaving:
    """Solve by the reference with about so many photons of each light."""
    batch = -(-photons // (2 * RUNS))
    empty = Tallies.empty(problem, seed=seed, jumps=jumps, batch=batch)
    follower = Follower(problem, seed=seed, jumps=jumps, earlier=empty)
    tallies = follower.tallies
    sums: list[list[FloatArray]] = []
    for run in range(1, RUNS + 1):
        goal = Goal(noise=None, photons=2 * batch * run)
        follower.follow_until(goal, lambda progress: None, lambda: False, 0.0)
        ended = tallies.direct, tallies.absorbed, tallies.coats, tallies.roulette
        sums.append([a.astype(float) for a in ended])
    direct, absorbed, coats, roulette = (
        np.diff(np.array(a), axis=0, prepend=0.0 * np.array(a[:1])) / (2 * batch)
        for a in zip(*sums, strict=True)
    )
    # Nothing slips through a seam, and chance gives as much as it takes.
    unaccounted = float(abs(tallies.balance()).max())
    assert unaccounted < 1e-9
    assert tallies.events[:, 2].sum() <= 1e-6 * tallies.photons.sum()
    error = roulette.std(axis=0, ddof=1) / np.sqrt(RUNS)
    assert (abs(roulette.mean(axis=0)) <= 5 * error + 1e-12).all()
    count = int(tallies.photons[0])
    return Leaving(
        problem,
        tallies.out[:, :, 1] / count,
        tallies.square[:, :, 1] / count,
        count,
        direct[..., 1],
        tallies.direct_moment / count,
        absorbed[..., 1],
        coats[..., 1],
        unaccounted,
    )
