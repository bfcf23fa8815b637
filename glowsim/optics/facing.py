"""How light that falls on a wall of scattering material goes on: deep into it, or back at once.

Light from deep inside leaves a bare wall by the law of `emission`. By reciprocity the same law
says how much of the light that falls on the wall from a direction gets deep. The rest turns round
at the face or just below it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from glowsim.optics.emission import MATT, luminance_shape
from glowsim.optics.fresnel import reflectance, reflectance_diffuse

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


def mirrored(cosine: ArrayLike, n: ArrayLike) -> Array:
    """Return the share of light from a direction that the face mirrors; none where it is MATT."""
    return reflectance(cosine, n_from=1.0, n_to=_smooth(n))


def mirrored_share(n: ArrayLike) -> Array:
    """Return the share of even light from all sides that the face mirrors; none where MATT."""
    return reflectance_diffuse(n_from=1.0, n_to=_smooth(n))


def _smooth(n: ArrayLike) -> Array:
    """Return indices of refraction, those of matt faces as of no face."""
    index = np.asarray(n, dtype=float)
    return np.where(index == MATT, 1.0, index)
