"""Volumes of the sketch shapes by elementary geometry (derived)."""

from __future__ import annotations

import numpy as np

from glowsim.scene import Blade, Crystal, Dome, Orb, Ring, Rod, Shape, Slab, Spike


def frustum_mm3(low_radius_mm: float, high_radius_mm: float, height_mm: float) -> float:
    """Return the volume of a frustum of a cone."""
    a, b = low_radius_mm, high_radius_mm
    return float(np.pi * height_mm / 3 * (a * a + a * b + b * b))


def volume_mm3(shape: Shape) -> float:
    """Return the volume a sketch shape stands for."""
    match shape:
        case Spike():
            return _spike(shape)
        case Orb():
            height = shape.height_mm or shape.diameter_mm
            return float(np.pi / 6 * shape.diameter_mm**2 * height)
        case Rod():
            top = shape.top_diameter_mm or shape.diameter_mm
            return frustum_mm3(shape.diameter_mm / 2, top / 2, shape.length_mm)
        case Slab():
            return shape.length_mm * shape.width_mm * shape.thickness_mm
        case Blade():
            # Of the pointed end, whose section shrinks as 1 - t^2, 8/15 is left.
            kept = shape.shoulder + (1 - shape.shoulder) * 8 / 15
            return _lens_mm2(shape.width_mm, shape.thickness_mm) * shape.length_mm * kept
        case Crystal():
            point = shape.point_mm or shape.length_mm / 3
            radius = shape.width_mm / 2
            section = shape.sides / 2 * radius**2 * np.sin(2 * np.pi / shape.sides)
            ends = point + shape.base_point_mm
            return float(section * (shape.length_mm - ends + ends / 3))
        case Ring():
            # Pappus: the section's area times the way of its centre.
            section = np.pi * (shape.section_diameter_mm / 2) ** 2
            return float(section * np.pi * shape.diameter_mm)
        case Dome():
            return float(2 / 3 * np.pi * (shape.diameter_mm / 2) ** 2 * shape.height_mm)


def _spike(shape: Spike) -> float:
    """A frustum up to where the straight side touches the tip's ball, then a cap of the ball.

    A bend shifts each level sideways and leaves the volume as it is (Cavalieri).
    """
    base, tip = shape.base_diameter_mm / 2, shape.tip_radius_mm
    centre = shape.length_mm - tip
    slope = np.arccos(tip / np.hypot(base, centre)) - np.arctan2(centre, base)
    level, radius = centre + tip * np.sin(slope), tip * np.cos(slope)
    cap = shape.length_mm - level
    return frustum_mm3(base, float(radius), float(level)) + float(
        np.pi * cap**2 * (3 * tip - cap) / 3
    )


def _lens_mm2(width_mm: float, thickness_mm: float) -> float:
    """Return the area between two mirrored arcs, with an edge of a twentieth of the thickness."""
    edge = thickness_mm / 20
    sagitta = thickness_mm / 2 - edge
    radius = (width_mm**2 / 4 + sagitta**2) / (2 * sagitta)
    half_angle = np.arcsin(width_mm / 2 / radius)
    segment = radius**2 * (half_angle - np.sin(half_angle) * np.cos(half_angle))
    return float(2 * segment + 2 * edge * width_mm)
