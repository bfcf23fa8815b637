"""Flashes counted by the general and red flash thresholds of WCAG 2.x.

A general flash is a pair of opposing changes of relative luminance by 10 % or more of its maximum,
1.0, where the darker state is below 0.80. A red flash is a pair of opposing changes to or from a
saturated red, R/(R+G+B) of 0.8 or more, that move the colour by more than 0.2 in the CIE 1976 u'v'
diagram (the wording of 2.2). More than three of a kind within one second fail, unless the area that
flashes takes up no more than 0.006 sr, a quarter of any field of 10 degrees.

What is stricter here than the letter: an odd change is counted as half a flash, places that
flash within the same second are added up even if they flash one after another, and the viewer is
near. What this is not: the analysis of a broadcaster, or a medical opinion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.srgb import LUMINANCE_OF_SRGB, XYZ_FROM_SRGB
from glowsim.transport.problem import BoolArray

CHANGE = 0.10
DARKER_BELOW = 0.80
RED_SHARE = 0.8
RED_CHANGE = 0.2
MOST_PER_SECOND = 3.0
LEAST_AREA_SR = 0.006
FIELD_DEG = 10.0
_BLACK = 1e-4
"""Of full white: darker than this, a place has no colour."""


@dataclass(frozen=True)
class FlashCount:
    """The most flashes of one kind within a second, over an area that counts.

    per_second : pairs of changes, halves for an odd one;  at_s : start of that second
    area_sr    : greatest area within a field of 10 degrees that flashed as often then
    anywhere   : the same count, over any area, however small
    """

    per_second: float
    at_s: float
    area_sr: float
    anywhere: float

    @property
    def too_many(self) -> bool:
        """Whether it is above the three a second that WCAG 2.x allows."""
        return self.per_second > MOST_PER_SECOND


@dataclass(frozen=True)
class FlashReport:
    """General and red flashes of a sequence of pictures that lasts `seconds`."""

    general: FlashCount
    red: FlashCount
    seconds: float

    @property
    def too_many(self) -> bool:
        """Whether either kind is above the threshold."""
        return self.general.too_many or self.red.too_many


def count_flashes(
    linear_rgb: FloatArray, where: BoolArray, *, frames_per_second: float, cell_deg: float
) -> FlashReport:
    """Count the flashes of a sequence.

    linear_rgb : (frames, cells, 3) float, linear sRGB of the cells that may change; 1 is full
                 white, above it counts as 1
    where      : (h, w) bool, which cells of the picture these are
    cell_deg   : angle that one cell covers for the viewer
    """
    rgb = np.clip(linear_rgb, 0.0, 1.0)
    window = max(1, round(frames_per_second))
    general, red = (
        _most(_in_window(changes, window), where, frames_per_second, cell_deg)
        for changes in (_general_changes(rgb @ LUMINANCE_OF_SRGB), _red_changes(rgb))
    )
    return FlashReport(general, red, len(rgb) / frames_per_second)


def _general_changes(luminance: FloatArray) -> BoolArray:
    """Return where a qualifying change of luminance, (frames, cells), completes, same shape.

    Follows each cell from turning point to turning point, small wobbles passed over.
    """

    def qualifies(before: FloatArray, now: FloatArray) -> BoolArray:
        # A hair of slack: 0.8 - 0.7 must count as 0.1 although it is not stored as such.
        enough = np.abs(now - before) >= CHANGE - 1e-9
        return enough & (np.minimum(before, now) < DARKER_BELOW)

    return _turns(luminance, luminance[..., None], lambda a, b: qualifies(a[..., 0], b[..., 0]))


def _red_changes(rgb: FloatArray) -> BoolArray:
    """Return where a change to or from saturated red, in (frames, cells, 3), completes."""
    total = rgb.sum(axis=-1)
    share = np.where(total > _BLACK, rgb[..., 0] / np.maximum(total, 1e-12), 0.0)
    xyz = rgb @ XYZ_FROM_SRGB.T
    # Black has no colour of its own: it counts as the white of the screen, without light.
    xyz = np.where((total > _BLACK)[..., None], xyz, XYZ_FROM_SRGB.sum(axis=1))
    uv = _uv(xyz)
    away = np.linalg.norm(uv - _uv(XYZ_FROM_SRGB[:, 0]), axis=-1)
    state = np.concatenate([uv, share[..., None]], axis=-1)

    def qualifies(before: FloatArray, now: FloatArray) -> BoolArray:
        far = np.linalg.norm(now[..., :2] - before[..., :2], axis=-1) > RED_CHANGE
        return far & (np.maximum(before[..., 2], now[..., 2]) >= RED_SHARE)

    return _turns(away, state, qualifies)


def _uv(xyz: FloatArray) -> FloatArray:
    """Return u' and v' of CIE 1976 (CIE 15)."""
    weight = xyz @ np.array([1.0, 15.0, 3.0])
    return np.stack([4 * xyz[..., 0], 9 * xyz[..., 1]], axis=-1) / weight[..., None]


def _turns(
    order: FloatArray,
    state: FloatArray,
    qualifies: Callable[[FloatArray, FloatArray], BoolArray],
) -> BoolArray:
    """Return where changes complete, (frames, cells) bool.

    order : (frames, cells), tells the direction of a change;  state : (frames, cells, k), what
    `qualifies` is asked about, from the last turning point to now. A change is noted once, when it
    has become large enough; it then goes on until a change the other way has.
    """
    changes = np.zeros(order.shape, bool)
    low, high = state[0].copy(), state[0].copy()
    low_order, high_order = order[0].copy(), order[0].copy()
    # Where a cell is going: +1 after a rise, -1 after a fall, 0 while neither was noted.
    going = np.zeros(order.shape[1], int)
    for frame in range(1, len(order)):
        now, here = state[frame], order[frame]
        rises = (going <= 0) & (here > low_order) & qualifies(low, now)
        falls = (going >= 0) & (here < high_order) & qualifies(high, now) & ~rises
        changes[frame] = rises | falls
        going = np.where(rises, 1, np.where(falls, -1, going))
        # From a turn on, the extreme to come is looked for from here; the other stays behind.
        lower = falls | (here <= low_order)
        higher = rises | (here >= high_order)
        low_order, high_order = np.where(lower, here, low_order), np.where(higher, here, high_order)
        low = np.where(lower[:, None], now, low)
        high = np.where(higher[:, None], now, high)
    return changes


def _in_window(changes: BoolArray, window: int) -> FloatArray:
    """Return how many changes lie in the window that starts at each frame, (frames, cells)."""
    total = np.concatenate([np.zeros((1, changes.shape[1])), np.cumsum(changes, axis=0)])
    last = np.minimum(np.arange(len(changes)) + window, len(changes))
    return total[last] - total[:-1]


def _most(
    counts: FloatArray, where: BoolArray, frames_per_second: float, cell_deg: float
) -> FlashCount:
    """Return the greatest count that an area of LEAST_AREA_SR or more reaches in some window."""
    cell_sr = np.radians(cell_deg) ** 2
    anywhere = float(counts.max(initial=0.0))
    best, at, area = 0.0, 0, 0.0
    for frame in np.argsort(-counts.max(axis=1, initial=0.0), kind="stable"):
        while counts[frame].max(initial=0.0) > best:
            flashing = counts[frame] > best
            picture = np.zeros_like(where)
            picture[where] = flashing
            found = _area_in_field(picture, cell_deg) * cell_sr
            if found <= LEAST_AREA_SR:
                break
            best, at, area = float(counts[frame][flashing].min()), int(frame), found
    return FlashCount(best / 2, at / frames_per_second, area, anywhere / 2)


def _area_in_field(flashing: BoolArray, cell_deg: float) -> float:
    """Return the most cells that flash within any disc of 10 degrees."""
    radius = FIELD_DEG / 2 / cell_deg
    if np.hypot(*flashing.shape) <= radius:
        return float(flashing.sum())
    reach = int(np.ceil(radius))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = (np.hypot(x, y) <= radius).astype(float)
    return float(np.rint(fftconvolve(flashing.astype(float), disc, mode="same")).max())


def coarse(picture: NDArray[np.floating], factor: int) -> NDArray[np.floating]:
    """Return means over blocks of `factor` by `factor` pixels; what is left at the rim is cut."""
    height, width = (side - side % factor for side in picture.shape[:2])
    cut = picture[:height, :width]
    return cut.reshape(height // factor, factor, width // factor, factor, -1).mean(axis=(1, 3))
