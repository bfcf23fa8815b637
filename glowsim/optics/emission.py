"""How bright a glowing face looks from each direction.

Diffuse light from deep inside leaves a bare face mostly straight out: toward its edge a glowing
body is darker (limb darkening), the more so the less its face reflects. The radiance that arrives
at the face is that of Milne's problem (`boundary`), and Fresnel's equations and Snell's law take it
out: L(theta) ~ T(theta_i) I(theta_i). Its shape hardly depends on how the material scatters (Vera &
Durian, Phys. Rev. E 53, 3215 (1996), from its abstract). It holds for bodies of three transport
lengths and more; in thinner ones some light still runs straight ahead.

By reciprocity the same law says how much of the light that falls on the face from a direction gets
deep (`facing`): hollows, pictures and figures all go by this one.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from glowsim.optics.boundary import milne_radiance
from glowsim.optics.exact import gauss_legendre
from glowsim.optics.fresnel import reflectance

Array = NDArray[np.float64]

MATT = 0.0
"""Stands in place of an index of refraction for a face that is equally bright from everywhere."""
_STEPS = 256


def luminance_shape(cosine: ArrayLike, *, n: ArrayLike) -> Array:
    """Return pi L / M, the luminance of diffuse light over that of a matt face of like exitance.

    cosine : between the face's normal and the direction it is seen from, 0 to 1
    n      : index of refraction of the material behind the face, at least 1, or MATT
    Both broadcast. 2 int shape mu dmu = 1 for every n: the exitance stays what it is.
    """
    mu, index = np.broadcast_arrays(
        np.clip(np.asarray(cosine, dtype=float), 0.0, 1.0), np.asarray(n, dtype=float)
    )
    shape = np.ones(mu.shape)
    for one in np.unique(index[index != MATT]):
        chosen = index == one
        value, slope = _table(round(float(one), 4))
        # Even steps: no search, unlike `interp`, which pictures of millions of points would feel.
        place = (_STEPS - 1) * np.sqrt(mu[chosen])
        step = place.astype(np.intp)
        shape[chosen] = value[step] + (place - step) * slope[step]
    return shape


def square_on(n: ArrayLike) -> Array:
    """Return pi L / M of faces seen along their normals: 1.26 at n = 1, 1.09 at 1.5, 1 if matt."""
    return luminance_shape(1.0, n=n)


@lru_cache(maxsize=64)
def _table(n: float) -> tuple[Array, Array]:
    """Return the shape at even steps of the cosine's square root, and by how much it rises."""
    t, weight = gauss_legendre(0.0, 1.0, 64)
    # Squared nodes: toward grazing directions the shape is steepest.
    whole = 2.0 * float(weight * 2.0 * t**3 @ _unscaled(t**2, n))
    value = _unscaled(np.linspace(0.0, 1.0, _STEPS) ** 2, n) / whole
    return value, np.append(np.diff(value), 0.0)


def _unscaled(cosine: Array, n: float) -> Array:
    """Return the luminance outside toward cosines, in any unit."""
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / n**2)
    return (1.0 - reflectance(cosine, n_from=1.0, n_to=n)) * milne_radiance(inside, n)
