"""Several exposures of one view made one, as light over shutter time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from glowsim.calibration.image import UnreadableError
from glowsim.geometry.mesh import FloatArray

SAME = 0.15
"""What light in two exposures may differ by, in the logarithm; nominal shutter times are rounded
by up to 0.07."""
OVERLAP = 3
"""Places seen well in both, from which two exposures are held against each other."""
NOISE = 3.0


@dataclass(frozen=True)
class Seen:
    """What one image shows of each place.

    light : (m, 3) float, mean linear light by channel;  spread : (m,) float, of all channels
    bright, dim : (m,) bool, clipped, or too dark to tell
    """

    light: FloatArray
    spread: FloatArray
    bright: np.ndarray
    dim: np.ndarray

    @property
    def good(self) -> np.ndarray:
        """Places that can be read, (m,) bool."""
        return ~(self.bright | self.dim)

    @property
    def total(self) -> FloatArray:
        """Light of all channels, (m,) float."""
        return np.asarray(self.light.sum(axis=1), dtype=float)

    def less(self, dark: Seen, share: float) -> Seen:
        """Return this image with another one's light taken away, `share` times."""
        light = self.light - share * dark.light
        dim = self.dim | (light.sum(axis=1) < NOISE * share * dark.spread)
        return Seen(np.maximum(light, 1e-9), self.spread, self.bright, dim)


def merged(seen: Sequence[Seen], times: FloatArray) -> tuple[FloatArray, np.ndarray]:
    """Return light by place, and which places were seen at all, (m,) float and bool.

    Weighted by shutter time. Exposures that overlap are brought to one level first. Raises
    UnreadableError where they differ by more than shutter times are rounded.
    """
    order = np.argsort(times)
    levels = {int(order[0]): 0.0}
    for before, k in pairwise(order.tolist()):
        both = seen[before].good & seen[k].good
        step = 0.0
        if both.sum() >= OVERLAP:
            ratio = seen[k].total[both] / seen[before].total[both]
            step = float(np.median(np.log(ratio))) - float(np.log(times[k] / times[before]))
        if abs(step) > SAME:
            found, said = np.exp(step) * times[k] / times[before], times[k] / times[before]
            raise UnreadableError(
                f"is {found:.2g} times as bright as the shorter exposure, and its shutter time "
                f"{said:.2g} times: were exposure and image processing fixed, and is 'response' "
                "right?",
                *("images", k),
            )
        levels[k] = levels[before] + step
    light = np.zeros(len(seen[0].dim))
    weight = np.zeros(len(light))
    for k, one in enumerate(seen):
        light += np.where(one.good, one.total / np.exp(levels[k]), 0.0)
        weight += np.where(one.good, times[k], 0.0)
    good = weight > 0
    return np.where(good, light / np.maximum(weight, 1e-30), 0.0), good
