"""The likeliest coefficients of one band, and how well they are known.

Maximum a posteriori on ln mu_a and ln mu_s': damped Gauss-Newton, a log-normal prior, three
starts. What makes readings err together stands in their covariance (it is linear in the logarithms
of the signals), so that only the two coefficients are sought.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from glowsim.calibration.forward import Optics, Series, covariance, labels, measured, together
from glowsim.geometry.mesh import FloatArray

STARTS = ((0.0, 0.0), (1.1, -1.1), (-1.1, 1.1))
"""Where the search begins, about what is believed before: along the valley of equal decay."""
MOST_STEP = 0.8
ROUNDS = 2
"""Times that the covariance is found again where a search ended. The starts share the one of what
is believed before: each change of it costs two more solves of a lit piece."""
STEPS = 12
HALVED = 4
"""Times that a step which made things worse is halved; readings that fit nothing would go on."""
GAIN = 0.003
"""Of the objective, below which a step is not worth a solve: 0.05 deviations."""
SAME_END = 0.2
"""Deviations within which a search comes to the same end as an earlier one."""
REACH = 3.5
"""Deviations of what is believed before, beyond which nothing is sought."""
HOPEFUL = 20.0
"""Of the objective, beyond the best end, from which an end is not followed on."""
APART = 0.2
"""Ends of the search that lie so far apart show a valley that has no floor."""
End = tuple[FloatArray, float]
"""Where a search ended, and the objective there."""


@dataclass(frozen=True)
class Prior:
    """What is believed before any reading: the optics, and the factors of one deviation.

    sd : (2,) float, of ln mu_a and ln mu_s'
    """

    optics: Optics
    sd: FloatArray

    @property
    def precision(self) -> FloatArray:
        """Inverse covariance, (2, 2) float."""
        return np.diag(1.0 / self.sd**2)


@dataclass(frozen=True)
class Fitted:
    """What readings of one band say.

    optics      : the likeliest;  covariance : (2, 2) float, of ln mu_a and ln mu_s'
    information : (2, 2) float, what the readings alone add to the prior's precision
    measured, foreseen : (m,) float, logarithms;  expected : (m, m) float, covariance between them
    objective   : twice the distance from prior and readings; chi-square of m if all is well
    spread      : how far apart the starts ended, in logarithms
    """

    prior: Prior
    optics: Optics
    covariance: FloatArray
    information: FloatArray
    labels: tuple[str, ...]
    measured: FloatArray
    foreseen: FloatArray
    expected: FloatArray
    objective: float
    spread: float

    @property
    def sd(self) -> FloatArray:
        """One standard deviation of ln mu_a and ln mu_s', (2,) float."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> float:
        """Between ln mu_a and ln mu_s'."""
        return float(self.covariance[0, 1] / np.prod(self.sd))

    @property
    def chance(self) -> float:
        """How likely readings lie so far from prior and model by chance."""
        return float(chi2.sf(self.objective, len(self.measured)))

    @property
    def strangeness(self) -> FloatArray:
        """How far each reading lies from what the others say, in deviations, (m,) float."""
        inverse = np.linalg.inv(self.expected)
        return inverse @ (self.measured - self.foreseen) / np.sqrt(np.diag(inverse))


def fit(
    series: Sequence[Series],
    prior: Prior,
    starts: Sequence[tuple[float, float]] | FloatArray = STARTS,
) -> Fitted:
    """Return the likeliest coefficients; of some starts the end that fits best.

    starts : (n, 2) float, beside the logarithms that are believed before
    """
    known = covariance(series, prior.optics)
    rough: list[End] = []
    for start in starts:
        end = _search(series, prior, known, np.array(start) + prior.optics.logarithms, rough)
        if end is not None:
            rough.append(end)
    least = min(score for _, score in rough)
    ends = [_settled(series, prior, at) for at, score in rough if score < least + HOPEFUL]
    best = min(ends, key=lambda end: end[1])[0]
    near = [end[0] for end in ends if end[1] - min(e[1] for e in ends) < 1.0]
    spread = max(float(np.abs(end - best).max()) for end in near)
    optics = prior.optics.at(best)
    expected = covariance(series, optics)
    value, slope = together(series, optics)
    information = slope.T @ np.linalg.solve(expected, slope)
    return Fitted(
        prior,
        optics,
        np.asarray(np.linalg.inv(information + prior.precision), dtype=float),
        information,
        tuple(labels(series)),
        measured(series),
        value,
        expected,
        _objective(measured(series) - value, expected, best, prior),
        spread,
    )


def _settled(series: Sequence[Series], prior: Prior, at: FloatArray) -> End:
    """Return where the search ends if it goes on with the covariance of where it has come to."""
    score = np.inf
    for _ in range(ROUNDS):
        expected = covariance(series, prior.optics.at(at))
        end = _search(series, prior, expected, at, [])
        assert end is not None  # there is no other end to come near to
        at, score = end
    return at, score


def _objective(residual: FloatArray, expected: FloatArray, at: FloatArray, prior: Prior) -> float:
    pull = at - prior.optics.logarithms
    fits = float(residual @ np.linalg.solve(expected, residual))
    return fits + float(pull @ prior.precision @ pull)


def _search(
    series: Sequence[Series],
    prior: Prior,
    expected: FloatArray,
    start: FloatArray,
    ends: Sequence[End],
) -> End | None:
    """Return where Gauss-Newton ends, and the objective there; None where it comes to an end that
    was found before.

    expected : (m, m) float, covariance of the signals;  ends : of earlier searches
    """
    known, middle = measured(series), prior.optics.logarithms
    low, high = middle - REACH * prior.sd, middle + REACH * prior.sd
    at = np.clip(start, low, high)
    value, slope = together(series, prior.optics.at(at))
    score = _objective(known - value, expected, at, prior)
    for _ in range(STEPS):
        weighted = np.linalg.solve(expected, slope)
        curvature = weighted.T @ slope + prior.precision
        if any((end - at) @ curvature @ (end - at) < SAME_END**2 for end, _ in ends):
            return None
        downhill = weighted.T @ (known - value) - prior.precision @ (at - middle)
        step = np.linalg.solve(curvature, downhill)
        step *= min(1.0, MOST_STEP / max(float(np.abs(step).max()), 1e-12))
        step = np.clip(at + step, low, high) - at
        if step @ downhill < GAIN:
            break
        for _ in range(HALVED):
            new_value, new_slope = together(series, prior.optics.at(at + step))
            new_score = _objective(known - new_value, expected, at + step, prior)
            if new_score <= score:
                break
            step = 0.5 * step
        if new_score > score:
            break
        at, value, slope, score = at + step, new_value, new_slope, new_score
    return at, score


def apart(one: Fitted, other: Fitted) -> float:
    """Return the chance that two fits of different readings of one material differ so much.

    Both start from the same prior P about t0 and end at t0 + C I (t - t0) + C noise, with I what
    their readings say and C = (I + P)^-1. So their difference has the covariance
    (C1 I1 - C2 I2) P^-1 (...)^T + C1 I1 C1 + C2 I2 C2 (derived, for small deviations).
    """
    drawn = one.covariance @ one.information - other.covariance @ other.information
    believed = np.diag(one.prior.sd**2)
    spread = drawn @ believed @ drawn.T
    for fitted in (one, other):
        spread += fitted.covariance @ fitted.information @ fitted.covariance
    gap = one.optics.logarithms - other.optics.logarithms
    return float(chi2.sf(float(gap @ np.linalg.solve(spread, gap)), 2))
