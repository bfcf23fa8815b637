"""Shares of light with their standard errors, and the statistics to compare them by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference import Goal, Tallies, solve_body
from glowsim.transport.reference.run import Follower


@dataclass(frozen=True)
class Share:
    """A mean with its standard error."""

    mean: float
    error: float

    def off(self, other: Share | float, digits: float = 0.0) -> float:
        """Return the distance from another value in standard errors, beyond its own digits."""
        exact = other if isinstance(other, Share) else Share(other, 0.0)
        gap = max(0.0, abs(self.mean - exact.mean) - digits)
        return gap / max(float(np.hypot(self.error, exact.error)), 1e-300)

    def agrees(self, other: Share | float, digits: float = 0.0) -> bool:
        """Return whether this lies within three standard errors of another value."""
        return self.off(other, digits) <= 3.0


def follow(problem: BodyProblem, photons: int, *, seed: int = 1, jumps: bool = False) -> Tallies:
    """Return the tallies of at least so many photons of each light."""
    goal = Goal(noise=None, photons=photons)
    return solve_body(problem, seed=seed, goal=goal, jumps=jumps)[1]


def leaving(
    tallies: Tallies,
    where: np.ndarray | slice = slice(None),
    light: int = 0,
    band: int = 1,
    weight: np.ndarray | float = 1.0,
) -> Share:
    """Return the share of light that leaves by some of the faces on the room.

    weight : of each of them
    """
    count = float(tallies.photons[light])
    mean = float((tallies.out[light, where, band] * weight).sum()) / count
    square = float((tallies.square[light, where, band] * np.square(weight)).sum()) / count
    return Share(mean, float(np.sqrt(max(square - mean**2, 0.0) / (count - 1))))


def of_samples(samples: np.ndarray) -> Share:
    """Return the mean of independent results, its error from their spread."""
    return Share(float(samples.mean()), float(samples.std(ddof=1) / np.sqrt(len(samples))))


def absorbed(
    problem: BodyProblem,
    region: int,
    photons: int,
    *,
    runs: int = 16,
    jumps: bool = False,
    scale: float = 1.0,
) -> Share:
    """Return the share absorbed in a region, times `scale`, its error from `runs` runs."""
    follower = Follower(problem, seed=2, jumps=jumps, earlier=None)
    tallies = follower.tallies
    part = tallies.batch * max(1, round(photons / runs / tallies.batch))
    so_far = [0.0]
    for run in range(runs):
        goal = Goal(noise=None, photons=(run + 1) * part)
        follower.follow_until(goal, lambda progress: None, lambda: False, 0.0)
        so_far.append(float(tallies.absorbed[0, region, 1]))
    return of_samples(scale * np.diff(so_far) / part)


def chi_square_tail(counts: np.ndarray, expected: np.ndarray) -> float:
    """Return how likely counts at least so far from the expected ones are (Pearson's test)."""
    assert expected.min() >= 5, "too few expected in a class for the test"
    statistic = float(((counts - expected) ** 2 / expected).sum())
    return float(chi2.sf(statistic, len(counts) - 1))


UNLIKELY = 1e-4
"""A correct sampler fails a test at this level once in ten thousand seeds; the seeds are fixed."""
