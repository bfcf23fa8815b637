"""How diffuse light departs from diffusion theory in the last few transport lengths below a face.

Milne's problem: a half-space without absorption carries light from great depth to its face. Deep
inside the radiance rises in a straight line with depth; near the face transients add to it. They
are found by discrete ordinates (Chandrasekhar, Radiative Transfer, 1960, sections 6 and 25 to 27;
Stamnes, Tsay, Wiscombe & Jayaweera, Appl. Opt. 27, 2502 (1988)), with Fresnel reflection at the
face. By reciprocity the radiance toward a direction is also how much of a photon sent from there
the opposite way stays inside.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import eval_legendre

from glowsim.optics.boundary import split_cosines
from glowsim.optics.fresnel import reflectance

Array = NDArray[np.float64]

_NEARLY_ENDLESS = 1e-4
"""Decay rates below this are the straight line itself, as rounding leaves it."""


@lru_cache(maxsize=64)
def milne_transients(n: float, g: float) -> tuple[float, Array, Array, Array, Array]:
    """Return z_e, cosines, weights, decay rates and transients below a face of relative index n.

    In mean free paths 1 / mu_s, for a radiance tau + mu / (1 - g) + z_e + transients at the depth
    tau toward the cosine mu, counted outward; transients are the columns of (2 m, rates) float,
    for the 2 m cosines, each times exp(-rate tau). Henyey-Greenstein scattering, -1 < g < 1.
    """
    half, weight = split_cosines(n)
    power = reflectance(half, n_from=n, n_to=1.0)
    mu, both = np.concatenate([half, -half]), np.concatenate([weight, weight])
    order = np.arange(len(half))[:, None]
    legendre = eval_legendre(order, mu)
    scattered = 0.5 * (legendre.T * ((2 * order[:, 0] + 1) * g ** order[:, 0])) @ legendre * both
    rate, shape = np.linalg.eig((scattered - np.eye(len(mu))) / mu[:, None])
    dies = rate.real > _NEARLY_ENDLESS
    rate, shape = rate.real[dies], shape.real[:, dies]
    out, into = slice(0, len(half)), slice(len(half), None)
    # At the face what goes in is what is reflected: unknown are z_e and each transient's size.
    facing = np.column_stack([1.0 - power, shape[into] - power[:, None] * shape[out]])
    size = np.linalg.solve(facing, (1.0 + power) * half / (1.0 - g))
    return float(size[0]), mu, both, rate, shape * size[1:]


def departure(depth: float, *, n: float, g: float, set_back: float = 0.0) -> float:
    """Return by how much light started all ways at a depth stays inside more than diffusion says.

    As a length that adds to the depth; all lengths in transport lengths 1 / (mu_s (1 - g)). Each
    photon starts `set_back` behind the place at that depth, seen along its direction; all must
    start below the face.
    """
    _, mu, weight, rate, transient = milne_transients(n, g)
    # A photon sent toward mu lives on as the radiance toward -mu says.
    start = (depth - set_back * mu) / (1.0 - g)
    dying = (transient * np.exp(-np.outer(start, rate))).sum(axis=1)
    return float(0.5 * (weight * dying).sum() * (1.0 - g))
