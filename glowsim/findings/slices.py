"""Quick and reference summed over slices of a body, and their ratios."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.findings.luminance import Look
from glowsim.findings.noise import noise_lm_mm2
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BoolArray
from glowsim.transport.result import SurfaceGlow

SURE = 2.0
"""Standard errors that a difference must exceed to count, where it was not searched for: the worst
of many places must exceed what chance brings among so many."""
MOST_SLICES = 20
SLICES_MM = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


@dataclass(frozen=True)
class Ratio:
    """Quick over reference, and its one-sigma error.

    sure : standard errors that a difference must exceed to count
    """

    value: float
    noise: float
    sure: float = SURE

    @property
    def off(self) -> float:
        """How far from 1 the ratio is, as a share, noise included."""
        return abs(self.value - 1.0)

    @property
    def surely_off(self) -> float:
        """How far from 1 the ratio is at least, noise allowed for."""
        return max(0.0, self.off - self.sure * self.noise)


@dataclass(frozen=True)
class Slice:
    """A body between two heights along its long axis.

    luminance : ratio of the mean luminances;  bands : of each colour band, None where it is dark
    """

    from_mm: float
    to_mm: float
    area_mm2: float
    quick_cd_m2: float
    reference_cd_m2: float
    luminance: Ratio
    bands: tuple[Ratio | None, ...]


def slicing(vertices: FloatArray) -> tuple[int, float, FloatArray]:
    """Return the long axis of a surface, and the step and the edges of round slices along it."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    # Of equal sides the last: props are drawn upright.
    axis = 2 - int(np.argmax((high - low).round(3)[::-1]))
    length = float(high[axis] - low[axis])
    step = next((s for s in SLICES_MM if length <= s * MOST_SLICES), SLICES_MM[-1])
    first = np.floor(low[axis] / step + 1e-6) * step
    count = int(np.ceil((high[axis] - first) / step - 1e-6))
    edges = first + step * np.arange(count + 1)
    edges[-1] += 1e-3 * step
    return axis, step, edges


class Rows:
    """Sums over chosen faces of one body, as both solvers see it."""

    def __init__(self, quick: SurfaceGlow, reference: SurfaceGlow, one: Look, other: Look) -> None:
        self._area = one.body.surface.areas_mm2
        self._quick = one.luminance_cd_m2
        self._reference = other.luminance_cd_m2
        self._noise = _or_zero(other.noise_cd_m2, other.luminance_cd_m2)
        copies = one.copies[0], other.copies[0]
        self._quick_bands = quick.exitance_lm_mm2(copies[0])
        self._bands = reference.exitance_lm_mm2(copies[1])
        self._band_noise = [
            _or_zero(noise_lm_mm2(reference, copies[1], band), self._bands[band])
            for band in range(3)
        ]

    def slice(self, chosen: BoolArray, low: float, high: float) -> Slice | None:
        """Return the slice of the `chosen` faces, None where they let out nothing."""
        if not (self._area * self._reference)[chosen].any():
            return None
        area = float(self._area[chosen].sum())
        quick, reference = (
            float((self._area * v)[chosen].sum()) / area for v in (self._quick, self._reference)
        )
        return Slice(
            float(low), round(float(high), 1), area, quick, reference,
            self.luminance(chosen), self.bands(chosen),
        )  # fmt: skip

    def luminance(self, chosen: BoolArray) -> Ratio:
        """Return the ratio of the luminances, faces weighed by area."""
        return self._ratio(chosen, self._quick, self._reference, self._noise)

    def bands(self, chosen: BoolArray) -> tuple[Ratio | None, ...]:
        """Return the ratio of each band, None where the reference is dark."""
        return tuple(
            self._ratio(chosen, quick, reference, noise) if reference[chosen].any() else None
            for quick, reference, noise in zip(
                self._quick_bands, self._bands, self._band_noise, strict=True
            )
        )

    def _ratio(
        self, chosen: BoolArray, quick: FloatArray, reference: FloatArray, noise: FloatArray
    ) -> Ratio:
        area = self._area[chosen]
        whole = float(area @ reference[chosen])
        ratio = float(area @ quick[chosen]) / whole
        # A photon leaves by one face: the errors of faces are all but independent.
        return Ratio(ratio, ratio * float(np.sqrt(((area * noise[chosen]) ** 2).sum())) / whole)


def _or_zero(noise: FloatArray | None, like: FloatArray) -> FloatArray:
    return np.zeros_like(like) if noise is None else noise
