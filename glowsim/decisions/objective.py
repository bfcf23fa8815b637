"""What is wanted of a placement, and how well patches of known luminance meet it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BoolArray

First = Literal["evenness", "brightness", "power"]
LOW_SHARE = 0.05
"""Share of the area that may be darker than the figure of evenness says."""
TIE = 0.1
"""How much the spread counts beside 5 %/mean: a tie-break, for the bright side counts too."""
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
    """

    first: First
    area_mm2: FloatArray
    glow: BoolArray
    target: float
    dark_ratio: float
    slopes: sparse.csr_matrix
    stands_mm2: FloatArray
    correction: FloatArray | float = 1.0

    def mean(self, luminance: FloatArray) -> FloatArray:
        """Return the mean over the glowing patches, (..., patches) -> (...)."""
        weight = np.where(self.glow, self.area_mm2, 0.0)
        return _weighed(luminance, weight / weight.sum())

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

    def _spread(self, luminance: FloatArray) -> FloatArray:
        """Return the spread over mean as c / (1 + c), c the coefficient of variation, (n,)."""
        weight = np.where(self.glow, self.area_mm2, 0.0) / self.area_mm2[self.glow].sum()
        mean = np.maximum(self.mean(luminance), 1e-300)
        c = np.sqrt(np.maximum(_weighed(luminance**2, weight) / mean**2 - 1, 0.0))
        return c / (1 + c)

    def score(self, luminance: FloatArray, sharp: bool = True) -> FloatArray:
        """Return the figure to be raised, (n, patches) -> (n,).

        Evenness first: 5 %/mean, and of nearly equal ones that with the least spread. Otherwise:
        the mean, counted down in proportion where the evenness falls short of the target. What
        must stay dark comes before either.
        """
        even = self.evenness(luminance, sharp)
        value = even * (1 - TIE * self._spread(luminance))
        if self.first != "evenness":
            value = self.mean(luminance) * np.minimum(1.0, even / self.target)
        over = np.maximum(self.stray(luminance) / self.dark_ratio, 1.0)
        return value / over**3

    def may_beat(self, luminance: FloatArray, best: float) -> BoolArray:
        """Return which rows could score above `best` by patch means, (n, patches) -> (n,) bool.

        Quicker than the score: a 5th percentile above a limit leaves hardly more than 5 % of the
        area below it, which counting tells without sorting.
        """
        area = self.area_mm2[self.glow]
        mean = self.mean(luminance)
        limit = best * (mean if self.first == "evenness" else np.full(len(mean), self.target))
        values = luminance if self.glow.all() else luminance[:, self.glow]
        below = _weighed((values <= limit[:, None]).astype(float), area)
        able = below < LOW_SHARE * area.sum() + area.max() / 2
        return np.asarray(able if self.first == "evenness" else able & (mean > best))


def _weighed(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Return weighted sums, (..., n) and (n,) -> (...), the same on any number of threads."""
    return np.asarray(np.einsum("...n,n->...", values, weight))


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
