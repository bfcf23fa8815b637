"""Where bodies and their copies stand: rigid transforms from positions, turns and patterns."""

from __future__ import annotations

import numpy as np
import trimesh

from glowsim.geometry.mesh import FloatArray
from glowsim.scene.bodies import Body
from glowsim.scene.patterns import Along, Around, Places


def placed(position_mm: tuple[float, ...], rotation_deg: tuple[float, ...]) -> FloatArray:
    """Return the (4, 4) transform: turn about x, then y, then z of the outer frame, then move."""
    x, y, z = np.radians(rotation_deg)
    transform: FloatArray = trimesh.transformations.euler_matrix(x, y, z, axes="sxyz")
    transform[:3, 3] = position_mm
    return transform


def place_and_turn(
    transform: FloatArray,
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Return position [mm] and rotation [deg] whose `placed` is a rigid transform, (4, 4)."""
    turns = np.degrees(trimesh.transformations.euler_from_matrix(transform, axes="sxyz"))
    x, y, z = (round(float(v), 6) + 0.0 for v in transform[:3, 3])
    a, b, c = (round(float(v), 6) + 0.0 for v in turns)
    return (x, y, z), (a, b, c)


def copies_of(body: Body) -> list[FloatArray]:
    """Return the (4, 4) transform of every copy of a body; one without patterns stands once."""
    own = placed(body.position_mm, body.rotation_deg)
    if not body.patterns:
        return [own]
    return [place @ own for pattern in body.patterns for place in _places(pattern)]


def _places(pattern: Around | Along | Places) -> list[FloatArray]:
    match pattern:
        case Around():
            return _around(pattern)
        case Along():
            step = placed(pattern.step_mm, pattern.turn_deg)
            places = [np.eye(4)]
            for _ in range(pattern.count - 1):
                places.append(places[-1] @ step)
            return places
        case Places():
            return [placed(place.position_mm, place.rotation_deg) for place in pattern.places]


def _around(pattern: Around) -> list[FloatArray]:
    whole = pattern.span_deg == 360
    gaps = pattern.count if whole else max(1, pattern.count - 1)
    tilt = placed((0, 0, 0), (0, pattern.tilt_deg, 0))
    outward = placed((0, 0, pattern.radius_mm), (0, 0, 0))
    centre = placed(pattern.centre_mm, (0, 0, 0))
    turns = pattern.start_deg + pattern.span_deg * np.arange(pattern.count) / gaps
    return [centre @ placed((0, 0, 0), (0, 0, turn)) @ tilt @ outward for turn in turns]
