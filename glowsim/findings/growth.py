"""How large a place must be before a noisy glow tells whether it stands out.

Photons leave at random. If a place were just as bright as a limit says, a known number of them
would be expected there; whether what is seen beyond the limit could be chance is then a question
of Poisson's law. Too few of them, and a place is averaged with what lies around it until it is
beyond a limit by more than chance brings, or surely within. Where no size tells, nothing is said.

The expectation comes from the surroundings and not from the place itself: where photons happen to
be few their own scatter looks small too, and a gap would seem sure.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import gammainc, gammaincc

from glowsim.findings.noise import CHANCE, OVERLAP
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.transport.problem import BoolArray

Limits = tuple[tuple[float, float], tuple[float, float]]
"""The ratios to the surroundings, and those to the mean, between which nothing is remarkable."""
STEP = 2.0
"""Each size over the one before: four times the photons."""
WIDEST = 0.5
"""The largest size, as a share of the surroundings: beyond it a place is its own surroundings."""
WITHIN = 0.01
"""Chance, place by place, of being taken to be within the limits by mistake."""
GUESSES = 6
"""Fields of noise from which it is told how much an average calms it, pooled over neighbours."""


@dataclass(frozen=True)
class Grown:
    """What noise lets one say of each glowing face, at the finest scale that tells it.

    local, whole : (n,) float, brightness over that of the surroundings, and over the mean
    noise        : two (n,) float, one-sigma errors of those ratios
    by_local, by_whole : (n,) bool, the ratio is known not to be chance
    width_mm     : (n,) float, how wide a place was looked at; nan where no width tells anything
    """

    local: FloatArray
    whole: FloatArray
    noise: tuple[FloatArray, FloatArray]
    by_local: BoolArray
    by_whole: BoolArray
    width_mm: FloatArray

    def untold(self, area_mm2: FloatArray) -> float:
        """Return the share of the surface of which nothing can be said."""
        return float(area_mm2[np.isnan(self.width_mm)].sum() / area_mm2.sum())


@dataclass(frozen=True)
class Seen:
    """A noisy surface and what it is held against. All (n,) float, on the glowing faces.

    luminance, noise : of the glow [cd/m2], the noise of faces without a photon being 0
    room             : room light sent back [cd/m2], which has no noise
    """

    work: Patchwork
    luminance: FloatArray
    noise: FloatArray
    room: FloatArray

    @property
    def mean_cd_m2(self) -> float:
        """Mean of all that meets the eye."""
        return float(self.work.area @ (self.luminance + self.room) / self.work.area.sum())


def grown(seen: Seen, fine_mm: float, wide_mm: float, limits: Limits) -> Grown:
    """Return what noise lets one say of each face.

    fine_mm, wide_mm : radii of what the eye averages, and of the surroundings
    """
    scales = list(_scales(fine_mm, wide_mm))
    against = _against(seen, wide_mm)
    count = len(seen.work.faces)
    ratio, noise, sure = np.ones((2, count)), np.zeros((2, count)), np.zeros((2, count), bool)
    width, open_ = np.full(count, np.nan), np.ones(count, bool)
    for radius in scales:
        here = _Scale(seen, radius)
        places = min(count, OVERLAP * seen.work.area.sum() / (np.pi * (2 * radius) ** 2))
        # Two ratios, two sides, so many scales: their chances add up.
        chance = CHANCE / (4 * len(scales) * max(places, 1.0))
        values = [here.calm / level for level, _, _ in against]
        tests = [_told(here, *one, limits[k], chance) for k, one in enumerate(against)]
        stands = tests[0][0] | tests[1][0]
        now = open_ & (stands | (tests[0][1] & tests[1][1]))
        for k, (level, _, _) in enumerate(against):
            ratio[k, now], sure[k, now] = values[k][now], tests[k][0][now]
            noise[k, now] = (here.error(against[k][1]) / level)[now]
        width[now] = 4 * radius
        open_ &= ~now
        if not open_.any():
            break
    return Grown(ratio[0], ratio[1], (noise[0], noise[1]), sure[0], sure[1], width)


def _scales(fine_mm: float, wide_mm: float) -> Iterator[float]:
    """Yield the radii to try, from what the eye averages up."""
    radius = fine_mm
    yield radius
    while radius * STEP <= WIDEST * wide_mm:
        radius *= STEP
        yield radius


def _against(seen: Seen, wide_mm: float) -> tuple[tuple[FloatArray, FloatArray, FloatArray], ...]:
    """Return, for the surroundings and for the mean, what is compared with it.

    The level [cd/m2], what one photon brings [cd/m2 mm2], and the level's own variance
    [(cd/m2)^2], each (n,) float.
    """
    area = seen.work.area
    wide = _Scale(seen, wide_mm)
    mean = seen.mean_cd_m2
    glow = float(area @ seen.luminance / area.sum())
    spread = float(area @ (seen.noise**2 * area) / area.sum())
    # Where hardly a photon came at all, one is taken to be what it is elsewhere.
    photon = (wide.spread + 1e-2 * spread) / (np.maximum(wide.glow, 0.0) + 1e-2 * glow)
    around = np.maximum(wide.calm, 1e-3 * mean)
    own = photon * np.maximum(wide.glow, 1e-3 * glow) * wide.per_mm2
    whole = np.full(len(area), max(mean, 1e-12))
    return (around, photon, own), (whole, photon, np.full(len(area), spread / area.sum()))


class _Scale:
    """A surface averaged over one radius.

    calm, glow, room : (n,) float, all that meets the eye, the glow and the room's part [cd/m2]
    spread     : (n,) float, variance times area [(cd/m2)^2 mm2]
    per_mm2    : (n,) float, one over the area that the average takes in
    """

    def __init__(self, seen: Seen, radius_mm: float) -> None:
        area = seen.work.area
        given = np.column_stack([seen.luminance, seen.room, seen.noise**2 * area])
        self.glow, self.room, self.spread = seen.work.smoothed(given, radius_mm).T
        self.calm = self.glow + self.room
        random = np.random.default_rng(0).standard_normal((len(area), GUESSES))
        again = seen.work.smoothed(random / np.sqrt(area)[:, None], radius_mm)
        # Neighbours take in much the same area: a guess from few samples is averaged over them.
        share = seen.work.smoothed((again**2).mean(axis=1), radius_mm)
        self.per_mm2 = np.maximum(share, 1 / area.sum())

    def photon(self, around: FloatArray) -> FloatArray:
        """Return what one photon brings, here or in the surroundings, whichever is more."""
        return np.maximum(around, self.spread / np.maximum(self.glow, 1e-12))

    def error(self, around: FloatArray) -> FloatArray:
        """Return the one-sigma error of `calm`, as if one photon more had come [cd/m2]."""
        photon = self.photon(around)
        return np.sqrt(photon * self.per_mm2 * (self.glow + photon * self.per_mm2))


def _told(
    here: _Scale,
    level: FloatArray,
    photon: FloatArray,
    own: FloatArray,
    limits: tuple[float, float],
    chance: float,
) -> tuple[BoolArray, BoolArray]:
    """Return where a place is beyond a limit, and where it is within, by more than chance."""
    dark, bright = limits
    ratio = np.maximum(here.calm / level, 0.0)
    # The photons expected of a place as bright as the level; its own noise counts as fewer.
    glow = np.maximum(level - here.room, 1e-3 * level)
    many = level**2 / np.maximum(here.photon(photon) * glow * here.per_mm2 + own, 1e-9 * level**2)
    above = (ratio > bright) & (_reached(ratio * many, bright * many) < chance)
    below = (ratio < dark) & (_kept_below(ratio * many, dark * many) < chance)
    within = _kept_below(ratio * many, bright * many) < WITHIN
    within &= _reached(ratio * many, dark * many) < WITHIN
    return above | below, within


def _reached(count: FloatArray, expected: FloatArray) -> FloatArray:
    """Chance that so many photons come, or more (Poisson)."""
    return np.asarray(gammainc(np.maximum(count, 1e-9), expected))


def _kept_below(count: FloatArray, expected: FloatArray) -> FloatArray:
    """Chance that so many photons come, or fewer (Poisson)."""
    return np.asarray(gammaincc(count + 1.0, expected))
