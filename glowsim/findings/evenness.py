"""How even a glow is, in the figures lighting uses.

Uniformities follow the CIE / EN 12665 vocabulary: overall uniformity U0 is least over mean
luminance; least over greatest is given beside it. Extremes of single faces are fickle, so the
5th and 95th percentiles of area stand beside them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.findings.luminance import Look
from glowsim.findings.noise import SAMPLES, shaken
from glowsim.geometry.mesh import FloatArray

FIGURES = (
    *("mean_cd_m2", "least_cd_m2", "p5_cd_m2", "median_cd_m2", "p95_cd_m2", "greatest_cd_m2"),
    *("u0", "least_over_greatest", "p5_over_mean", "p5_over_p95", "variation"),
)
SHIFTED = 0.03
"""A figure that noise moves by more than this share is called shifted."""


@dataclass(frozen=True)
class Evenness:
    """Area-weighted figures over the faces that are meant to glow. Luminances in cd/m2.

    noise   : one-sigma error of each of FIGURES, or None for a solver without noise
    shifted : those of FIGURES that the noise of single faces makes too low or too high
    """

    body: str
    area_mm2: float
    mean_cd_m2: float
    least_cd_m2: float
    greatest_cd_m2: float
    p5_cd_m2: float
    median_cd_m2: float
    p95_cd_m2: float
    variation: float
    """Coefficient of variation: standard deviation over mean."""
    noise: dict[str, float] | None = None
    shifted: tuple[str, ...] = ()

    @property
    def u0(self) -> float:
        """Least over mean luminance."""
        return _ratio(self.least_cd_m2, self.mean_cd_m2)

    @property
    def least_over_greatest(self) -> float:
        """Least over greatest luminance."""
        return _ratio(self.least_cd_m2, self.greatest_cd_m2)

    @property
    def p5_over_mean(self) -> float:
        """5th percentile over mean: what the evenness target is held against."""
        return _ratio(self.p5_cd_m2, self.mean_cd_m2)

    @property
    def p5_over_p95(self) -> float:
        """5th over 95th percentile."""
        return _ratio(self.p5_cd_m2, self.p95_cd_m2)


def evenness_of(look: Look) -> Evenness:
    """Return the evenness of a body as lit."""
    return evenness_of_all(look.name, (look,), (1,))


def evenness_of_all(name: str, looks: Sequence[Look], times: Sequence[int]) -> Evenness:
    """Return the evenness of several bodies together, each counted so many times."""

    def joined(parts: Iterable[FloatArray]) -> FloatArray:
        return np.concatenate([np.tile(p, n) for p, n in zip(parts, times, strict=True)])

    def once(noisy: bool) -> Evenness:
        luminance = joined(_luminance(look, random if noisy else None) for look in looks)
        return evenness(name, luminance, area)

    random = np.random.default_rng(0)
    area = joined(look.body.surface.areas_mm2[look.glows] for look in looks)
    figures = once(False)
    if all(look.noise_cd_m2 is None for look in looks):
        return figures
    return _with_noise(figures, [once(True) for _ in range(SAMPLES)])


def _luminance(look: Look, random: np.random.Generator | None) -> FloatArray:
    """Return the luminance of the faces meant to glow, with noise added once more if asked."""
    own = look.luminance_cd_m2[look.glows]
    if random is None or look.noise_cd_m2 is None:
        return own
    return np.maximum(shaken(own, look.noise_cd_m2[look.glows], random), 0.0)


def _with_noise(figures: Evenness, again: list[Evenness]) -> Evenness:
    noise, shifted = {}, []
    for name in FIGURES:
        value = getattr(figures, name)
        values = np.array([getattr(other, name) for other in again])
        noise[name] = float(values.std(ddof=1))
        # Nothing is quite dark: 0 only says that no photon has come that way yet.
        if value == 0 or abs(values.mean() - value) > SHIFTED * abs(value):
            shifted.append(name)
    return replace(figures, noise=noise, shifted=tuple(shifted))


def evenness(name: str, luminance_cd_m2: FloatArray, area_mm2: FloatArray) -> Evenness:
    """Return the figures for faces of given luminance and area, (n,) float each."""
    total = float(area_mm2.sum())
    mean = float((luminance_cd_m2 * area_mm2).sum() / total)
    spread = float((area_mm2 * (luminance_cd_m2 - mean) ** 2).sum() / total)
    p5, median, p95 = area_percentiles(luminance_cd_m2, area_mm2, (5, 50, 95))
    return Evenness(
        name,
        total,
        mean,
        float(luminance_cd_m2.min()),
        float(luminance_cd_m2.max()),
        p5,
        median,
        p95,
        _ratio(np.sqrt(spread), mean),
    )


def area_percentiles(
    values: FloatArray, area_mm2: FloatArray, percents: tuple[float, ...]
) -> tuple[float, ...]:
    """Return the values below which the given percentages of the area lie."""
    order = np.argsort(values)
    share = (np.cumsum(area_mm2[order]) - area_mm2[order] / 2) / area_mm2.sum()
    return tuple(float(v) for v in np.interp(np.array(percents) / 100, share, values[order]))


def _ratio(top: float, bottom: float) -> float:
    return float(top / bottom) if bottom > 0 else 0.0
