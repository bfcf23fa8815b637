"""Takes the statistical noise out of a glow for pictures; figures are never drawn from this."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from glowsim.geometry.creases import smooth_pieces
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.transport.result import BodyGlow, SurfaceGlow

CALM = 0.02
"""Relative error that a picture does not show."""
LEVELS = 5
"""Steps of smoothing, each twice as wide as the one before; the first as wide as a face."""


def calmed(glow: SurfaceGlow) -> SurfaceGlow:
    """Return a glow smoothed over the surface where it is noisy, and only as far as it is."""
    bodies = tuple(map(_calmed, glow.bodies))
    same = all(calm is body for calm, body in zip(bodies, glow.bodies, strict=True))
    return glow if same else glow.alike(bodies=bodies)


def _calmed(body: BodyGlow) -> BodyGlow:
    if body.error is None or not body.light_count:
        return body
    area = body.surface.areas_mm2
    work = Patchwork(body.surface, np.ones(len(area), dtype=bool), _pieces(body))
    # A Gaussian of deviation s averages over the area 4 pi s^2.
    finest = np.sqrt(float(area.mean()) / (4 * np.pi))
    known = np.where(np.isfinite(body.error), body.error, 0.0)
    parts = [
        _levelled(work, diffuse, direct, error, finest)
        for diffuse, direct, error in zip(body.diffuse, body.direct, known, strict=True)
    ]
    diffuse, direct = (np.stack([part[k] for part in parts]) for k in range(2))
    return replace(body, diffuse=diffuse, direct=direct)


def _levelled(
    work: Patchwork, diffuse: FloatArray, direct: FloatArray, error: FloatArray, finest: float
) -> tuple[FloatArray, FloatArray]:
    """Return the responses to one light, (3, k) each, smoothed as far as their errors ask."""
    own = np.concatenate([diffuse, direct]).T.astype(float)
    variance = error.T.astype(float) ** 2
    result, noise = own, np.sqrt(variance)
    for level in range(LEVELS):
        radius = finest * 2**level
        over = noise / np.maximum(CALM * (result[:, :3] + result[:, 3:]), 1e-30)
        # Where the noise is a little too great, a little of the next level is mixed in.
        share = np.tile(np.clip(over - 1.0, 0.0, 1.0), 2)
        share[noise.sum(axis=1) == 0] = 1.0  # no photon yet: what is around is all there is
        if not share.any():
            break
        wider = work.smoothed(own, radius)
        result = (1 - share) * result + share * np.maximum(wider, 0.0)
        spread = work.smoothed(variance * work.area[:, None], radius)
        noise = np.sqrt(np.maximum(spread, 0.0) / (4 * np.pi * radius**2))
    return result[:, :3].T, result[:, 3:].T


def _pieces(body: BodyGlow) -> IntArray:
    """Return the smooth piece of surface that each face belongs to, (k,) int."""
    return smooth_pieces(*body.smooth_corners)
