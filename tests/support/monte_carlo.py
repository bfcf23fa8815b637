"""Shares of light with their standard errors, and the statistics to compare them by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from glowsim.transport.problem import BodyProblem
from glowsim.transport.reference import Goal, Tallies, solve_body


@dataclass(frozen=True)
class Share:
    """A mean with its standard error; None where chance has no part in it."""

    mean: float
    error: float | None

    def times(self, factor: float) -> Share:
        """Return this in another unit."""
        return Share(self.mean * factor, None if self.error is None else self.error * factor)

    def off(self, other: Share | float, digits: float = 0.0) -> float:
        """Return the distance from another value in standard errors, beyond its own digits."""
        exact = other if isinstance(other, Share) else Share(other, None)
        gap = max(0.0, abs(self.mean - exact.mean) - digits)
        return gap / max(float(np.hypot(self.error or 0.0, exact.error or 0.0)), 1e-300)

    def agrees(
        self, other: Share | float, *, digits: float = 0.0, within: float | None = None
    ) -> bool:
        """Return whether this is another value, as far as it can be told.

        digits : of the other value, and what a mesh makes of the shape it stands for; a mean with
                 an error must lie within three standard errors and these
        within : share of the other value within which a solver claims to be that has no error
        """
        if self.error is not None:
            return self.off(other, digits) <= 3.0
        assert within is not None, "say how near a solver without a standard error claims to come"
        exact = other.mean if isinstance(other, Share) else other
        return abs(self.mean - exact) <= within * abs(exact)


def mean_of(*shares: Share) -> Share:
    """Return the mean of independent shares."""
    errors = [share.error for share in shares if share.error is not None]
    error = float(np.sqrt(np.square(errors).sum())) / len(shares) if errors else None
    return Share(float(np.mean([share.mean for share in shares])), error)


def ratio(one: Share, other: Share) -> Share:
    """Return the quotient of two independent shares."""
    quotient = one.mean / other.mean
    if one.error is None or other.error is None:
        return Share(quotient, None)
    error = np.hypot(one.error / one.mean, other.error / other.mean)
    return Share(quotient, float(quotient * error))


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
    return of_moments(mean, square, count)


def of_moments(mean: float, square: float, count: float) -> Share:
    """Return the mean over so many photons, its error from their mean square."""
    return Share(mean, float(np.sqrt(max(square - mean**2, 0.0) / (count - 1))))


def of_samples(samples: np.ndarray) -> Share:
    """Return the mean of independent results, its error from their spread if there are several."""
    if len(samples) == 1:
        return Share(float(samples[0]), None)
    return Share(float(samples.mean()), float(samples.std(ddof=1) / np.sqrt(len(samples))))


def chi_square_tail(counts: np.ndarray, expected: np.ndarray) -> float:
    """Return how likely counts at least so far from the expected ones are (Pearson's test)."""
    assert expected.min() >= 5, "too few expected in a class for the test"
    statistic = float(((counts - expected) ** 2 / expected).sum())
    return float(chi2.sf(statistic, len(counts) - 1))


UNLIKELY = 1e-4
"""A correct sampler fails a test at this level once in ten thousand seeds; the seeds are fixed."""
