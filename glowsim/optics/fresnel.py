"""Reflection and refraction at a smooth face between two indices of refraction.

Light is unpolarised throughout: many scatterings leave no polarisation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_NEAR_MATCH = 1.0e-3
"""Below this n - 1 the closed form of diffuse reflectance loses digits to cancellation."""


def reflectance(cos_incidence: ArrayLike, *, n_from: ArrayLike, n_to: ArrayLike) -> Array:
    """Return the share of the power of an unpolarised ray that the face reflects.

    `cos_incidence` is the cosine to the normal on the side of `n_from`, 0 to 1; all arguments
    broadcast. Total reflection gives exactly 1, equal indices exactly 0. Fresnel's equations
    (Born & Wolf, Principles of Optics, section 1.5, from memory).
    """
    cos_from = np.asarray(cos_incidence, dtype=float)
    ratio = np.asarray(n_from, dtype=float) / np.asarray(n_to, dtype=float)
    sin2_to = ratio**2 * (1.0 - cos_from**2)
    cos_to = np.sqrt(np.clip(1.0 - sin2_to, 0.0, None))
    perpendicular = _amplitude(ratio * cos_from, cos_to)
    parallel = _amplitude(ratio * cos_to, cos_from)
    power = 0.5 * (perpendicular**2 + parallel**2)
    # At grazing incidence both cosines vanish for equal indices; there is no face then.
    return np.where(ratio == 1.0, 0.0, np.where(sin2_to >= 1.0, 1.0, power))


def _amplitude(a: Array, b: Array) -> Array:
    """Return (a - b) / (a + b), and 0 where both are 0."""
    total = a + b
    return (a - b) / np.where(total > 0.0, total, 1.0)


def refract(
    direction: Array, normal: Array, *, n_from: ArrayLike, n_to: ArrayLike
) -> tuple[Array, NDArray[np.bool_]]:
    """Bend rays through a face by Snell's law.

    Parameters
    ----------
    direction : (m, 3) float
        Unit directions of travel.
    normal : (m, 3) float
        Unit normals of the face, pointing to either side.
    n_from, n_to : float or (m,) float
        Indices of refraction before and behind the face.

    Returns
    -------
    direction : (m, 3) float
        Unit directions behind the face; for rays totally reflected, the mirrored direction.
    is_total : (m,) bool
        Whether the ray is totally reflected.
    """
    direction = np.asarray(direction, dtype=float)
    along = np.sum(direction * normal, axis=-1)
    # The normal is turned to point with the ray.
    facing = np.where(along[:, None] < 0.0, -1.0, 1.0) * normal
    cos_from = np.abs(along)
    ratio = np.asarray(n_from, dtype=float) / np.asarray(n_to, dtype=float)
    cos2_to = 1.0 - ratio**2 * (1.0 - cos_from**2)
    is_total = cos2_to <= 0.0
    cos_to = np.sqrt(np.clip(cos2_to, 0.0, None))
    ratio = np.broadcast_to(ratio, cos_from.shape)
    bent = ratio[:, None] * direction + (cos_to - ratio * cos_from)[:, None] * facing
    mirrored = direction - 2.0 * cos_from[:, None] * facing
    out = np.where(is_total[:, None], mirrored, bent)
    return out / np.linalg.norm(out, axis=-1, keepdims=True), is_total


def reflectance_diffuse(*, n_from: ArrayLike, n_to: ArrayLike) -> Array:
    """Return the share of Lambertian light that the face reflects; broadcasts.

    From the thin side it is the closed form of Walsh (1926), as given by Duntley (J. Opt. Soc.
    Am. 32, 61, 1942); from the dense side R_int = 1 - (1 - R_ext) / n^2, since the étendue that
    gets through is the same both ways. Both formulae from memory; checked against quadrature.
    Nearer than 0.001 to an index match the form is replaced by its limit, (n - 1) / 3 with the
    slope closing linearly on the form's own value; the error is below 1e-7.
    """
    ratio = np.asarray(n_to, dtype=float) / np.asarray(n_from, dtype=float)
    n = np.maximum(ratio, 1.0 / ratio)
    edge = 1.0 + _NEAR_MATCH
    slope_at_edge = _walsh(np.asarray(edge)) / _NEAR_MATCH
    slope = 1.0 / 3.0 + (slope_at_edge - 1.0 / 3.0) * (n - 1.0) / _NEAR_MATCH
    external = np.where(n < edge, slope * (n - 1.0), _walsh(np.maximum(n, edge)))
    return np.where(ratio >= 1.0, external, 1.0 - (1.0 - external) / n**2)


def _walsh(n: Array) -> Array:
    """Return the hemispherical reflectance of Lambertian light going into index `n` > 1."""
    n2, n4 = n**2, n**4
    return (
        0.5
        + (n - 1.0) * (3.0 * n + 1.0) / (6.0 * (n + 1.0) ** 2)
        + n2 * (n2 - 1.0) ** 2 / (n2 + 1.0) ** 3 * np.log((n - 1.0) / (n + 1.0))
        - 2.0 * n**3 * (n2 + 2.0 * n - 1.0) / ((n2 + 1.0) * (n4 - 1.0))
        + 8.0 * n4 * (n4 + 1.0) / ((n2 + 1.0) * (n4 - 1.0) ** 2) * np.log(n)
    )
