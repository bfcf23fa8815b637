"""Statistical noise of a glow, and what it does to the figures drawn from it.

Figures that are no sums (extremes, percentiles, ratios after smoothing) have no simple error.
Theirs is found by adding the same noise again: how far the figure spreads is its error, how far
it moves is how far the first noise has already moved it (parametric bootstrap, Efron &
Tibshirani, An Introduction to the Bootstrap (1993), chapters 6 and 10; from memory).
"""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit

from glowsim.errors import SolveError
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import Copy
from glowsim.transport.result import SurfaceGlow

SAMPLES = 24
"""Times the noise is added again; an error is known to 1 / sqrt(2 * 24), 15 %."""
CHANCE = 0.01
"""Chance, over a whole body, that noise alone goes beyond what counts as being within it."""
OVERLAP = 8.0
"""Patches that can be told apart when they may lie anywhere, over those side by side."""


def check_known(glow: SurfaceGlow, copy: Copy) -> None:
    """Raise SolveError if a light that is on has let out no photon yet: there is nothing to judge.

    The reference solver gives the light of which nothing is known an infinite error.
    """
    body = glow.bodies[copy.body]
    if body.error is None:
        return
    on = glow.flux_lm(copy) > 0
    unknown = [k for k in np.flatnonzero(on.any(axis=1)) if np.isinf(body.error[k][on[k]]).any()]
    if unknown:
        names = ", ".join(f"'{glow.lights[copy.lights[k]].name}'" for k in unknown[:3])
        more = f" and {len(unknown) - 3} more" if len(unknown) > 3 else ""
        raise SolveError(
            f"'{copy.of}' cannot be judged: of its {len(on)} lights {names}{more} has let out no "
            "photon yet, which says nothing of how bright it is; go on with --resume, and give it "
            "more photons (--photons) or time (--time)"
        )


def noise_lm_mm2(glow: SurfaceGlow, copy: Copy, band: int | None = None) -> FloatArray | None:
    """Return the one-sigma error of a copy's exitance, (k,) float [lm/mm2].

    Of all bands together unless one is chosen; None where the solver has no statistical noise.
    The bands of one light are followed by the same photons, so their errors add up (bands that
    scatter differently are followed apart: for them this is an upper limit); those of different
    lights are independent.
    """
    body = glow.bodies[copy.body]
    if body.error is None or not copy.lights:
        return None
    bands = slice(None) if band is None else slice(band, band + 1)
    flux = glow.flux_lm(copy)[:, bands]
    # A light that has had no photon yet is dark so far; the body's trust says so.
    error = np.where(np.isfinite(body.error), body.error, 0.0)
    per_light = np.einsum("lb,lbk->lk", flux, error[:, bands])
    noise = np.sqrt((per_light**2).sum(axis=0))
    area = np.maximum(body.surface.areas_mm2, 1e-12)
    power = noise * area
    dark = power <= 0
    if dark.all():
        return noise
    # A face that no photon has reached yet may be as bright as one photon would make it, of those
    # that reach the darkest faces; a sliver, for which that is absurdly bright, as the mean.
    one = float(np.median(np.sort(power[~dark])[: max(1, dark.size // 20)]))
    out = np.einsum("lb,lbk->k", flux, (body.diffuse + body.direct)[:, bands])
    return np.where(dark, np.minimum(one / area, area @ out / area.sum()), noise)


def shaken(values: FloatArray, noise: FloatArray | None, random: np.random.Generator) -> FloatArray:
    """Return values, (n,) float, with their noise added once more."""
    return values if noise is None else values + noise * random.standard_normal(len(values))


def shaken_often(values: FloatArray, noise: FloatArray | None) -> FloatArray:
    """Return values with their noise added anew in each column, (n, SAMPLES); always the same."""
    random = np.random.default_rng(0)
    return np.stack([shaken(values, noise, random) for _ in range(SAMPLES)], axis=1)


def beyond_chance(places: int) -> float:
    """Return how many standard errors noise alone hardly ever reaches at any of `places`.

    The errors are themselves estimates from SAMPLES: Student's t takes care of that.
    """
    return float(-stdtrit(SAMPLES - 1, CHANCE / (2 * max(places, 1))))
