"""View factors: the share of the diffuse light of one surface that falls on another.

Closed forms as collected by J. R. Howell, A Catalog of Radiation Heat Transfer Configuration
Factors (from memory; checked against known values). Only ratios of lengths matter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def coaxial_discs(
    *, radius_from_mm: ArrayLike, radius_to_mm: ArrayLike, distance_mm: ArrayLike
) -> Array:
    """Return the view factor between two parallel discs on one axis (Howell C-41)."""
    from_, to = np.asarray(radius_from_mm, dtype=float), np.asarray(radius_to_mm, dtype=float)
    ratio2 = (to / from_) ** 2
    s = 1.0 + (np.asarray(distance_mm, dtype=float) ** 2 + to**2) / from_**2
    # The small root of F^2 - S F + ratio^2 = 0, written so that nothing cancels.
    return 2.0 * ratio2 / (s + np.sqrt(s**2 - 4.0 * ratio2))


def element_to_sphere(
    cos_angle: ArrayLike, *, radius_mm: ArrayLike, distance_mm: ArrayLike
) -> Array:
    """Return the view factor from a small element to a sphere, cos (R/h)^2.

    `cos_angle` is between the element's normal and the line to the sphere's centre, at
    `distance_mm`. Holds while the whole sphere is above the element's horizon.
    """
    ratio = np.asarray(radius_mm, dtype=float) / np.asarray(distance_mm, dtype=float)
    return np.asarray(cos_angle, dtype=float) * ratio**2


def parallel_rectangles(
    *, width_mm: ArrayLike, height_mm: ArrayLike, distance_mm: ArrayLike
) -> Array:
    """Return the view factor between two equal rectangles facing each other (Howell C-11)."""
    distance = np.asarray(distance_mm, dtype=float)
    x, y = np.asarray(width_mm, dtype=float) / distance, np.asarray(height_mm) / distance
    x1, y1 = np.sqrt(1.0 + x**2), np.sqrt(1.0 + y**2)
    total = (
        np.log(x1 * y1 / np.sqrt(1.0 + x**2 + y**2))
        + x * y1 * np.arctan(x / y1)
        + y * x1 * np.arctan(y / x1)
        - x * np.arctan(x)
        - y * np.arctan(y)
    )
    return 2.0 / (np.pi * x * y) * total


def perpendicular_rectangles(
    *, edge_mm: ArrayLike, depth_from_mm: ArrayLike, depth_to_mm: ArrayLike
) -> Array:
    """Return the view factor between two rectangles at a right angle (Howell C-14).

    They share an edge of `edge_mm`; the depths are their extents away from it.
    """
    edge = np.asarray(edge_mm, dtype=float)
    w, h = np.asarray(depth_from_mm, dtype=float) / edge, np.asarray(depth_to_mm) / edge
    w2, h2 = w**2, h**2
    both, whole = w2 + h2, 1.0 + w2 + h2
    logs = (
        np.log((1.0 + w2) * (1.0 + h2) / whole)
        + w2 * np.log(w2 * whole / ((1.0 + w2) * both))
        + h2 * np.log(h2 * whole / ((1.0 + h2) * both))
    )
    root = np.sqrt(both)
    angles = w * np.arctan(1.0 / w) + h * np.arctan(1.0 / h) - root * np.arctan(1.0 / root)
    return (angles + 0.25 * logs) / (np.pi * w)


def inside_sphere(area_to_mm2: ArrayLike, *, radius_mm: ArrayLike) -> Array:
    """Return the view factor from any part of a sphere's inside to a part of it, A / (4 pi R^2)."""
    sphere = 4.0 * np.pi * np.asarray(radius_mm, dtype=float) ** 2
    return np.asarray(area_to_mm2, dtype=float) / sphere


def cavity_multiplier(*, reflectance: ArrayLike, port_fraction: ArrayLike) -> Array:
    """Return M of an integrating sphere: rho / (1 - rho (1 - f)).

    Its wall has the radiance Phi M / (pi A); `port_fraction` f is the share of the wall cut
    away. J. A. Jacquez & H. F. Kuppenheim, J. Opt. Soc. Am. 45, 460 (1955), from memory.
    """
    rho = np.asarray(reflectance, dtype=float)
    return rho / (1.0 - rho * (1.0 - np.asarray(port_fraction, dtype=float)))
