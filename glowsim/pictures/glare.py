"""Light that the viewer's eye, or a lens, scatters over the picture: the halo of a bright thing."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from PIL import Image
from scipy.fft import irfft2, next_fast_len, rfft2

from glowsim.geometry.mesh import FloatArray
from glowsim.optics.vision import glare_spread_per_sr
from glowsim.scene import Room

STRENGTH = {"eye": 1.0, "camera": 0.3}
"""A good camera scatters about 2 % of the light by more than a degree, a young eye about 7 to
8 % (veiling glare of lenses by ISO 9358 measurements; from memory)."""
FINEST_DEG = 0.1
"""Below this angle the CIE function is not defined; it is held constant there."""
WIDEST_DEG = 90.0
_COARSE_PX = 256
"""Halos are smooth: they are worked out on about this many pixels across."""
_PARTS = 5
"""Parts each way into which a pixel near the source is cut."""


def scattered_share(observer: str, age_years: float) -> float:
    """Return the share of light that leaves its place: the integral of the CIE function."""
    angle = np.concatenate([np.linspace(0, FINEST_DEG, 50)[:-1], np.geomspace(0.1, 90, 2000)])
    spread = _spread_per_sr(angle, age_years) * 2 * np.pi * np.sin(np.radians(angle))
    return STRENGTH[observer] * float(np.trapezoid(spread, np.radians(angle)))


def with_glare(
    picture: FloatArray, pixel_deg: float, surround: FloatArray, room: Room
) -> FloatArray:
    """Return a picture, (h, w, 3) float XYZ [cd/m2], with the glare of the room's observer.

    pixel_deg : angle that a pixel covers;  surround : (3,) float, what lies outside the frame.
    Light is conserved: what a pixel gains others lose, or the world outside the frame.
    The CIE general disability glare function (CIE 146:2002) for the observer's age and brown
    eyes; for a camera 0.3 of it.
    """
    height, width = picture.shape[:2]
    factor = max(1, round(max(height, width) / _COARSE_PX))
    coarse = _block_means(picture, factor) - surround
    kernel = _kernel(coarse.shape[0], coarse.shape[1], pixel_deg * factor, room.observer_age_years)
    strength = STRENGTH[room.observer]
    shape = [next_fast_len(2 * side - 1) for side in coarse.shape[:2]]
    wave = rfft2(kernel, shape)
    halo = np.stack(
        [irfft2(rfft2(band, shape) * wave, shape) for band in np.moveaxis(coarse, -1, 0)], axis=-1
    )
    top, left = coarse.shape[0] - 1, coarse.shape[1] - 1
    halo = halo[top : top + coarse.shape[0], left : left + coarse.shape[1]]
    core = 1 - scattered_share(room.observer, room.observer_age_years)
    glaring = core * picture
    glaring += (1 - core) * surround
    glaring += strength * _enlarged(halo, factor)[:height, :width]
    return glaring


@lru_cache(maxsize=4)
def _kernel(height: int, width: int, pixel_deg: float, age_years: float) -> FloatArray:
    """Return what each pixel gets of one unit in the middle, (2h - 1, 2w - 1) float."""
    part = (np.arange(_PARTS) + 0.5) / _PARTS - 0.5
    down = np.arange(1 - height, height)
    across = np.arange(1 - width, width)
    kernel = _spread_per_sr(np.hypot(down[:, None], across) * pixel_deg, age_years)
    near = 8
    row = np.flatnonzero(np.abs(down) <= near)
    column = np.flatnonzero(np.abs(across) <= near)
    fine = np.hypot(
        (down[row][:, None] + part)[:, None, :, None],
        (across[column][:, None] + part)[None, :, None, :],
    )
    kernel[np.ix_(row, column)] = _spread_per_sr(fine * pixel_deg, age_years).mean(axis=(2, 3))
    return kernel * np.radians(pixel_deg) ** 2


def _spread_per_sr(angle_deg: FloatArray, age_years: float) -> FloatArray:
    inside = np.clip(angle_deg, FINEST_DEG, WIDEST_DEG)
    return glare_spread_per_sr(inside, age_years=age_years)


def _block_means(picture: FloatArray, factor: int) -> FloatArray:
    """Return the means of blocks of `factor` by `factor` pixels; the last ones repeat the edge."""
    height, width = picture.shape[:2]
    more = ((0, -height % factor), (0, -width % factor), (0, 0))
    full = np.pad(picture, more, mode="edge")
    blocks = full.reshape(full.shape[0] // factor, factor, full.shape[1] // factor, factor, 3)
    return blocks.mean(axis=(1, 3))


def _enlarged(coarse: FloatArray, factor: int) -> FloatArray:
    if factor == 1:
        return coarse
    size = (coarse.shape[1] * factor, coarse.shape[0] * factor)
    bands = [
        np.asarray(Image.fromarray(band).resize(size, Image.Resampling.BICUBIC))
        for band in np.moveaxis(coarse.astype(np.float32), -1, 0)
    ]
    return np.stack(bands, axis=-1)
