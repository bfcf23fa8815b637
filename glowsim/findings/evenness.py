"""How even a glow is, in the figures lighting uses.

Uniformities follow the CIE / EN 12665 vocabulary: overall uniformity U0 is least over mean
luminance; least over greatest is given beside it. Extremes of single faces are fickle, so the
5th and 95th percentiles of area stand beside them. They say nothing of what is too bright: shares
and a figure that counts both ends do, see `unevenness`.

Luminances are as they are; ratios hold them against the look that is wanted of the body.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from glowsim.findings.luminance import Look
from glowsim.findings.noise import SAMPLES, shaken
from glowsim.findings.patches import Eye
from glowsim.findings.unevenness import Grade, off_by, shares, worse_end
from glowsim.geometry.mesh import FloatArray
from glowsim.scene import Thresholds

FIGURES = (
    *("mean_cd_m2", "least_cd_m2", "p5_cd_m2", "median_cd_m2", "p95_cd_m2", "greatest_cd_m2"),
    *("u0", "least_over_greatest", "p5_over_mean", "p5_over_p95", "variation"),
    *("seen_p5_over_mean", "off_by", "within_share", "too_dark_share", "too_bright_share"),
)
SHIFTED = 0.03
"""A figure that noise moves by more than this share is called shifted."""


@dataclass(frozen=True, kw_only=True)
class Evenness:
    """Area-weighted figures over the faces that are meant to glow. Luminances in cd/m2.

    u0, least_over_greatest, p5_over_mean, p5_over_p95 : ratios of luminance over what is wanted
    variation : coefficient of variation, standard deviation over mean, likewise
    seen_p5_over_mean : 5th percentile over mean, as the eye averages them
    off_by    : factor by which a typical place, as the eye averages it, is off; 1 is even
    within_share, too_dark_share, too_bright_share : of the area, as the eye averages it: within
                `even_factor` of the middle, darker, brighter
    grade     : 'even', 'fair' or 'patchy'; None for figures that no one has graded
    noise     : one-sigma error of each of FIGURES, or None for a solver without noise
    shifted   : those of FIGURES that the noise of single faces makes too low or too high
    """

    body: str
    area_mm2: float
    mean_cd_m2: float
    least_cd_m2: float
    greatest_cd_m2: float
    p5_cd_m2: float
    median_cd_m2: float
    p95_cd_m2: float
    u0: float
    least_over_greatest: float
    p5_over_mean: float
    p5_over_p95: float
    variation: float
    seen_p5_over_mean: float
    off_by: float
    within_share: float
    too_dark_share: float
    too_bright_share: float
    grade: Grade | None = None
    noise: dict[str, float] | None = None
    shifted: tuple[str, ...] = ()

    @property
    def worse_end(self) -> float:
        """What the evenness target is held against, as the eye sees it."""
        return worse_end(self.seen_p5_over_mean, self.off_by)

    def eye_decides(self, limits: Thresholds) -> bool:
        """Whether 5th percentile over mean is too low for the grade face by face, and high enough
        as the eye averages it."""
        needed = {"even": max(limits.even_from, limits.evenness_target)}
        needed["fair"] = limits.evenness_target
        return self.grade is not None and self.p5_over_mean < needed.get(self.grade, 0.0)

    @property
    def enough(self) -> bool:
        """Whether it is graded, and even enough."""
        return self.grade not in (None, "patchy")


def evenness_of(eye: Eye) -> Evenness:
    """Return the evenness of a body as lit and seen."""
    return evenness_of_all(eye.look.name, (eye,), (1,))


def evenness_of_all(name: str, eyes: Sequence[Eye], times: Sequence[int]) -> Evenness:
    """Return the evenness of several bodies together, each counted so many times."""

    def joined(parts: Iterable[FloatArray]) -> FloatArray:
        return np.concatenate([np.tile(p, n) for p, n in zip(parts, times, strict=True)])

    def once(noisy: bool) -> Evenness:
        own = [_luminance(eye.look, random if noisy else None) for eye in eyes]
        seen = (eye.blurred(values / eye.wanted) for eye, values in zip(eyes, own, strict=True))
        return evenness(
            name, joined(own), area, wanted=wanted, seen=joined(seen), factor=limits.even_factor
        )

    random, limits = np.random.default_rng(0), eyes[0].limits
    area = joined(eye.patchwork.area for eye in eyes)
    wanted = joined(eye.wanted for eye in eyes)
    figures = once(False)
    if all(eye.look.noise_cd_m2 is None for eye in eyes):
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
        is_share = name.endswith("_share")
        moved = abs(values.mean() - value)
        if moved > SHIFTED * (1 if is_share else abs(value)) or (value == 0 and not is_share):
            shifted.append(name)
    return replace(figures, noise=noise, shifted=tuple(shifted))


def evenness(
    name: str,
    luminance_cd_m2: FloatArray,
    area_mm2: FloatArray,
    *,
    wanted: FloatArray | float = 1.0,
    seen: FloatArray | None = None,
    factor: float = Thresholds().even_factor,
) -> Evenness:
    """Return the figures for faces of given luminance and area, (n,) float each.

    wanted : the level wanted of each face, of mean 1
    seen   : luminance over that level as the eye averages it; that of the faces if left out
    factor : what lies within this factor of the middle is neither too dark nor too bright
    """
    total = float(area_mm2.sum())
    mean = float((luminance_cd_m2 * area_mm2).sum() / total)
    p5, median, p95 = area_percentiles(luminance_cd_m2, area_mm2, (5, 50, 95))
    judged = luminance_cd_m2 / wanted
    middle = float((judged * area_mm2).sum() / total)
    spread = float((area_mm2 * (judged - middle) ** 2).sum() / total)
    low, high = area_percentiles(judged, area_mm2, (5, 95))
    least, greatest = float(judged.min()), float(judged.max())
    seen = judged if seen is None else seen
    within, too_dark, too_bright = shares(seen, area_mm2, factor)
    return Evenness(
        body=name,
        area_mm2=total,
        mean_cd_m2=mean,
        least_cd_m2=float(luminance_cd_m2.min()),
        greatest_cd_m2=float(luminance_cd_m2.max()),
        p5_cd_m2=p5,
        median_cd_m2=median,
        p95_cd_m2=p95,
        u0=_ratio(least, middle),
        least_over_greatest=_ratio(least, greatest),
        p5_over_mean=_ratio(low, middle),
        p5_over_p95=_ratio(low, high),
        variation=_ratio(np.sqrt(spread), middle),
        seen_p5_over_mean=_ratio(area_percentiles(seen, area_mm2, (5,))[0], middle),
        off_by=off_by(seen, area_mm2),
        within_share=within,
        too_dark_share=too_dark,
        too_bright_share=too_bright,
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
