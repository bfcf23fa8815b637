"""How light that falls on a wall of scattering material goes on: deep into it, or back at once.

Light from deep inside leaves a bare wall by the law of `emission`. By reciprocity the same law
says how much of the light that falls on the wall from a direction gets deep. The rest turns round
at the face or just below it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from glowsim.optics.emission import MATT, luminance_shape
from glowsim.optics.exact import gauss_legendre
from glowsim.optics.fresnel import reflectance

Array = NDArray[np.float64]

_INDEX = (1.0, 1.03, 1.1, 1.33, 1.41, 1.49, 1.58)
_DEEP = (0.60, 0.76, 0.85, 0.90, 0.90, 0.89, 0.88)


def deep_share(n: ArrayLike) -> Array:
    """Return the share of even light from all sides that gets deep and comes out as p.

    n : index of refraction of the material behind the face, any shape

    With p `luminance_shape`, light from mu' that falls on a thick wall without absorption comes
    out toward mu, beside what a matt one sends out, as s p(mu) p(mu') + (1 - s p(mu))
    (1 - s p(mu')) / (1 - s): a law of two terms that is symmetric, keeps all light and leaves
    even light even. The s that comes nearest
    to the exact law (Chandrasekhar's H functions with Fresnel reflection on both sides, light
    that the face mirrors counted as spread all round) is off by 0.03 as a rule at n = 1 and by
    0.02 to 0.05 from 1.33 on, a matt wall by 0.06 and 0.12 to 0.16 (`tests/optics/test_facing`).
    """
    return np.interp(np.asarray(n, dtype=float), _INDEX, _DEEP)


def turned_share(cosine: ArrayLike, n: ArrayLike) -> Array:
    """Return the share of light from a direction that turns round at the face, 1 - s p(mu)."""
    return 1.0 - deep_share(n) * luminance_shape(cosine, n=n)


def going_on(cosine: ArrayLike, n: ArrayLike, g: ArrayLike) -> Array:
    """Return the share of light from a direction that goes on along a wall, as if mirrored.

    n : index of refraction behind the face, or MATT, which turns light every way;  g : mean cosine
        of scattering there. All broadcast.

    What the face mirrors (Fresnel), and what forward scattering just below the face sends out
    again on its way. Of that a mirror of 0.52 g (1 - mu)^2 stands for the push along the wall that
    is left; mu is the cosine below the face. Fitted to photons in half-spaces without absorption
    at g 0.65 and 0.8, n 1, 1.33 and 1.5 (`tests/optics/test_facing`): within 0.04.
    """
    index = np.asarray(n, dtype=float)
    behind = np.where(index == MATT, 1.0, index)
    mu = np.asarray(cosine, dtype=float)
    face = reflectance(mu, n_from=1.0, n_to=behind)
    below = np.sqrt(1 - (1 - mu**2) / behind**2)
    forward = 0.52 * np.asarray(g, dtype=float) * (1 - below) ** 2 / behind**4
    return np.where(index == MATT, 0.0, face + (1 - face) * forward)


def going_on_share(n: ArrayLike, g: ArrayLike) -> Array:
    """Return the share of even light from all sides that goes on along a wall, see `going_on`."""
    t, weight = gauss_legendre(0.0, 1.0, 32)
    index, forward = np.broadcast_arrays(np.asarray(n, dtype=float), np.asarray(g, dtype=float))
    both = np.stack([index.ravel(), forward.ravel()])
    pairs, place = np.unique(both, axis=1, return_inverse=True)
    # Squared nodes: toward grazing directions the share is steepest.
    means = [float(weight * 4 * t**3 @ going_on(t**2, *pair)) for pair in pairs.T]
    return np.array(means)[place.ravel()].reshape(index.shape)
