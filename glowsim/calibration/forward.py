"""What instruments would read for given coefficients, and how far each may be off.

All signals are natural logarithms. What makes several readings err together (a sheet that is
thinner than thought, a camera's response) is a direction in which they move, by its name; two
readings that name the same one share it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.slab import slab_reflectance_transmittance

STEP = 0.05
"""Half the step of a numeric slope, in the logarithm."""
FREE = 10.0
"""Doubt of a scale that nobody knows, in the logarithm."""
INDEX_DOUBT = 0.03
G_DOUBT = 0.12


@dataclass(frozen=True)
class Optics:
    """A material in one colour band."""

    mu_a_per_mm: float
    mu_s_reduced_per_mm: float
    g: float
    n: float

    @property
    def logarithms(self) -> FloatArray:
        """The two unknowns ln mu_a, ln mu_s', (2,) float."""
        return np.log([self.mu_a_per_mm, self.mu_s_reduced_per_mm])

    def at(self, logarithms: FloatArray) -> Optics:
        """Return the same material with other coefficients, given by their logarithms."""
        mu_a, mu_s = np.exp(logarithms)
        return replace(self, mu_a_per_mm=float(mu_a), mu_s_reduced_per_mm=float(mu_s))

    @property
    def decay_per_mm(self) -> float:
        """k = sqrt(3 mu_a (mu_a + mu_s'))."""
        return float(
            np.sqrt(3.0 * self.mu_a_per_mm * (self.mu_a_per_mm + self.mu_s_reduced_per_mm))
        )


@dataclass(frozen=True)
class Foreseen:
    """Signals of one series of readings.

    value : (m,) float;  slope : (m, 2) float, by ln mu_a and ln mu_s'
    """

    value: FloatArray
    slope: FloatArray


@dataclass(frozen=True)
class Doubts:
    """How far signals may be off.

    own    : (m, m) float, covariance of what belongs to this series alone
    shared : (m,) float by name, one standard deviation of what moves several at once
    """

    own: FloatArray
    shared: Mapping[str, FloatArray] = field(default_factory=dict)


class Series(Protocol):
    """Readings of one kind, taken in one go."""

    @property
    def name(self) -> str:
        """What messages call it."""

    @property
    def labels(self) -> tuple[str, ...]:
        """What each reading is called."""

    @property
    def measured(self) -> FloatArray:
        """Logarithms of the readings, (m,) float."""

    @property
    def profile(self) -> bool:
        """Whether they belong to photo and card, not to what goes through a pile."""

    def foreseen(self, optics: Optics) -> Foreseen:
        """Return what would be read."""

    def doubts(self, optics: Optics) -> Doubts:
        """Return how far readings and model may be off."""

    def cautions(self, optics: Optics) -> tuple[str, ...]:
        """Return what to be careful about with such a material, in plain words."""


def back_and_through(
    optics: Optics, thickness_mm: float | FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the reflectance and transmittance of a slab for a beam along its normal, each of the
    shape of `thickness_mm`."""
    back, through = slab_reflectance_transmittance(
        cos_incidence=1.0,
        mu_a_per_mm=optics.mu_a_per_mm,
        mu_s_reduced_per_mm=optics.mu_s_reduced_per_mm,
        g=optics.g,
        n=optics.n,
        thickness_mm=thickness_mm,
    )
    return np.asarray(back, dtype=float), np.asarray(through, dtype=float)


def slopes_of(signal: Callable[[Optics], FloatArray], optics: Optics) -> FloatArray:
    """Return the slope of a closed form by ln mu_a and ln mu_s', (m, 2) float."""
    at = optics.logarithms
    columns = [
        (signal(optics.at(at + step)) - signal(optics.at(at - step))) / (2 * STEP)
        for step in STEP * np.eye(2)
    ]
    return np.column_stack(columns)


def optics_doubts(signal: Callable[[Optics], FloatArray], optics: Optics) -> dict[str, FloatArray]:
    """Return what a wrong index of refraction and a wrong g do to a closed form."""
    more_n = replace(optics, n=optics.n + INDEX_DOUBT)
    other_g = replace(optics, g=min(optics.g + G_DOUBT, 0.97))
    here = signal(optics)
    return {"index": signal(more_n) - here, "g": signal(other_g) - here}


def measured(series: Sequence[Series]) -> FloatArray:
    """Return all measured signals, (m,) float."""
    return np.concatenate([one.measured for one in series])


def labels(series: Sequence[Series]) -> list[str]:
    """Return what to call each reading."""
    return [f"{one.name}: {label}" for one in series for label in one.labels]


def covariance(series: Sequence[Series], optics: Optics) -> FloatArray:
    """Return the covariance of all signals about what is foreseen, (m, m) float."""
    sizes = [len(one.measured) for one in series]
    ends = np.cumsum([0, *sizes])
    total = np.zeros((ends[-1], ends[-1]))
    shared: dict[str, FloatArray] = {}
    for one, start, end in zip(series, ends[:-1], ends[1:], strict=True):
        doubts = one.doubts(optics)
        total[start:end, start:end] = doubts.own
        for name, moves in doubts.shared.items():
            shared.setdefault(name, np.zeros(ends[-1]))[start:end] = moves
    for moves in shared.values():
        total += np.outer(moves, moves)
    return total


def together(series: Sequence[Series], optics: Optics) -> tuple[FloatArray, FloatArray]:
    """Return all signals and their slopes, (m,) and (m, 2) float."""
    each = [one.foreseen(optics) for one in series]
    return np.concatenate([e.value for e in each]), np.vstack([e.slope for e in each])
