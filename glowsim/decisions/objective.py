"""What is wanted of a placement, and how well patches of known luminance meet it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import sparse

from glowsim.findings.unevenness import VEIL, off_of_ripple, uneven, weighed
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BoolArray

First = Literal["evenness", "brightness", "power"]
LOW_SHARE = 0.05
"""Share of the area that may be darker than the figure of evenness says."""
_LOOKED_AT = 0.14
"""Share of patches that are sorted in search of the darkest area."""


@dataclass(frozen=True)
class Wish:
    """What is asked for.

    first       : what comes first
    directions  : keep, as the scene says; or any, along all axes and tilted from there
    free_levels : boards may be driven at different levels
    """

    first: First = "evenness"
    directions: Literal["keep", "any"] = "keep"
    free_levels: bool = False


@dataclass(frozen=True)
class Aim:
    """What comes first, over the patches of one body.

    first      : evenness; brightness; or power, the least for a glow that reads as lit
    area_mm2   : (patches,) float;  glow : (patches,) bool, the others must stay dark
    target     : evenness wanted;  dark_ratio : what must stay dark has at most this share of the
                 mean luminance
    slopes     : (samples, glowing patches), from logarithms of patches to those of faces that
                 stand for all;  stands_mm2 : (samples,) float, the area each stands for
    correction : (samples,) float, what the patches miss of these faces, as a factor
    eye        : (samples, samples), what the eye averages at the viewing distance; None where that
                 is finer than the samples
    """

    first: First
    area_mm2: FloatArray
    glow: BoolArray
    target: float
    dark_ratio: float
    slopes: sparse.csr_matrix
    stands_mm2: FloatArray
    correction: FloatArray | float = 1.0
    eye: sparse.csr_matrix | None = None

    def mean(self, luminance: FloatArray) -> FloatArray:
        """Return the mean over the glowing patches, (..., patches) -> (...)."""
        weight = np.where(self.glow, self.area_mm2, 0.0)
        return weighed(luminance, weight / weight.sum())

    def evenness(self, luminance: FloatArray, sharp: bool = True) -> FloatArray:
        """Return 5th percentile over mean, (n, patches) -> (n,).

        sharp : read within patches too; without, patch means alone, quicker and too high
        """
        values, area = luminance[:, self.glow], self.area_mm2[self.glow]
        if sharp:
            values, area = self.sampled(luminance), self.stands_mm2
        return percentile(values, area, LOW_SHARE) / np.maximum(self.mean(luminance), 1e-300)

    def sampled(self, luminance: FloatArray) -> FloatArray:
        """Return the luminance of the faces that stand for all, (n, patches) -> (n, samples)."""
        faces = np.exp((self.slopes @ logarithm(luminance[:, self.glow]).T).T)
        return np.asarray(faces * self.correction)

    def least(self, luminance: FloatArray) -> FloatArray:
        """Return least over mean of the patches, (n, patches) -> (n,)."""
        mean = np.maximum(self.mean(luminance), 1e-300)
        return luminance[:, self.glow].min(axis=1) / mean

    def stray(self, luminance: FloatArray) -> FloatArray:
        """Return the brightest patch that must stay dark over the glowing mean, (n,)."""
        if self.glow.all():
            return np.zeros(len(luminance))
        mean = np.maximum(self.mean(luminance), 1e-300)
        return luminance[:, ~self.glow].max(axis=1) / mean

    def off_by(self, luminance: FloatArray, sharp: bool = True) -> FloatArray:
        """Return the factor by which a typical place is off an even glow, both ends counted, as the
        eye averages it, (n, patches) -> (n,); see `findings.unevenness`.

        sharp : read within patches too; without, patch means alone, quicker and too low
        """
        if sharp:
            return np.exp(np.sqrt(uneven(self.seen(self.sampled(luminance)), self.stands_mm2)))
        return np.exp(np.sqrt(uneven(luminance[:, self.glow], self.area_mm2[self.glow])))

    def seen(self, values: FloatArray) -> FloatArray:
        """Return the luminance of samples as the eye averages it, (n, samples) -> the same."""
        return values if self.eye is None else np.asarray((self.eye @ values.T).T)

    def short_of(self, off_by: FloatArray) -> FloatArray:
        """Return what share of the evenness wanted there is, at most 1, (n,) -> (n,)."""
        wanted = np.log(off_of_ripple(self.target))
        return np.minimum(1.0, wanted / np.maximum(np.log(off_by), 1e-12))

    def score(self, luminance: FloatArray, sharp: bool = True) -> FloatArray:
        """Return the figure to be raised, (n, patches) -> (n,).

        Evenness first: one over what a typical place is off by. Otherwise: the mean, counted down
        in proportion where the evenness falls short of the target. What must stay dark comes
        before either.
        """
        off = self.off_by(luminance, sharp)
        value = 1 / off if self.first == "evenness" else self.mean(luminance) * self.short_of(off)
        over = np.maximum(self.stray(luminance) / self.dark_ratio, 1.0)
        return value / over**3


def uneven_slope(values: FloatArray, area: FloatArray) -> tuple[float, FloatArray]:
    """Return J of values on areas, (k,), and how it changes with each of them, (k,)."""
    share = area / area.sum()
    values = np.maximum(values, 0.0)
    mean = max(float(weighed(values, share)), 1e-300)
    x = (values / mean + VEIL) / (1 + VEIL)
    slope = share * (np.log(x) + (x - 1) / x) / (1 + VEIL) / mean
    slope = slope - share * float(weighed(slope, values)) / mean
    return max(float(weighed((x - 1) * np.log(x), share)), 0.0), slope


def logarithm(luminance: FloatArray) -> FloatArray:
    """Return natural logarithms, with what is all but dark held at a trillionth of the most."""
    floor = 1e-12 * luminance.max(axis=-1, keepdims=True) + 1e-300
    return np.log(np.maximum(luminance, floor))


def p5_over_mean(values: FloatArray, area: FloatArray) -> float:
    """Return 5th percentile over mean of values on areas, (k,) and (k,)."""
    return float(percentile(values[None], area, LOW_SHARE)[0]) / float(values @ area / area.sum())


def percentile(values: FloatArray, area: FloatArray, share: float) -> FloatArray:
    """Return the values below which a small share of the area lies, (n, k) -> (n,)."""
    count = min(values.shape[1], max(4, round(_LOOKED_AT * values.shape[1])))
    lowest = np.argpartition(values, count - 1, axis=1)[:, :count]
    low, low_area = np.take_along_axis(values, lowest, axis=1), area[lowest]
    if low_area.sum(axis=1).min() < 1.2 * share * area.sum():
        low, low_area = values, np.broadcast_to(area, values.shape)
    order = np.argsort(low, axis=1)
    low = np.take_along_axis(low, order, axis=1)
    low_area = np.take_along_axis(low_area, order, axis=1)
    place = (np.cumsum(low_area, axis=1) - low_area / 2) / area.sum()
    above = np.clip((place < share).sum(axis=1), 1, low.shape[1] - 1)[:, None]
    s0, s1 = (np.take_along_axis(place, above + k, axis=1) for k in (-1, 0))
    v0, v1 = (np.take_along_axis(low, above + k, axis=1) for k in (-1, 0))
    between = np.clip((share - s0) / np.maximum(s1 - s0, 1e-12), 0.0, 1.0)
    return np.asarray((v0 + between * (v1 - v0))[:, 0])
