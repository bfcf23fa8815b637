"""What of a body can be told in a photo: its top, the ends of its foot, its outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.rays import RayTarget

FOOT = 0.005
"""Share of the height that counts as the foot."""
NARROW = 0.2
"""A foot or a top of less than this share of the breadth is one point."""
SAME = 1e-4
"""Ends that differ by less of the breadth are one edge, whose nearer end is meant."""
STRETCH = 0.1, 0.5
"""Share of the height at which a stretch begins and ends where none was given."""


@dataclass(frozen=True)
class Landmark:
    """A point of a body that anybody finds in a photo, and what it is called."""

    words: str
    at_mm: tuple[float, float, float]


def landmarks(body: Mesh, toward: FloatArray) -> list[Landmark]:
    """Return the top of a body and the ends of its foot, as a camera sees them that stands there.

    toward : (3,) float, from the body to the camera
    """
    right, up, _ = screen_axes(toward)
    across, high = body.vertices @ right, body.vertices @ up
    near = body.vertices @ toward / np.linalg.norm(toward)
    return [
        *_ends(body, across, high, near, "top"),
        *_ends(body, across, -high, near, "foot"),
    ]


def outline(body: Mesh, eye: FloatArray) -> FloatArray:
    """Return the edges between what is seen from a point and what is not, (k, 2, 3) float."""
    corners = body.vertices[body.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    seen = ((eye - corners[:, 0]) * normal).sum(axis=1) > 0.0
    sides = np.sort(body.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges, which = np.unique(sides, axis=0, return_inverse=True)
    shown = np.bincount(which.ravel(), weights=np.repeat(seen, 3), minlength=len(edges))
    return np.asarray(body.vertices[edges[shown == 1]], dtype=float)


def first_stretch(body: Mesh, toward: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Return the ends of a stretch up the middle of the side that faces a camera; None where
    nothing faces it."""
    _, up, toward = screen_axes(toward)
    high = body.vertices @ up
    middle = 0.5 * (body.vertices.min(axis=0) + body.vertices.max(axis=0))
    size = float(np.ptp(body.vertices, axis=0).max())
    ends = []
    for share in STRETCH:
        place = middle + (_level(high, share) - middle @ up) * up
        found = on_surface(body, place + 4.0 * size * toward, -toward)
        if found is None:
            return None
        ends.append(found)
    return ends[0], ends[1]


def on_surface(body: Mesh, eye: FloatArray, way: FloatArray) -> FloatArray | None:
    """Return the point of a body that is seen from a point along a way, None for none."""
    hits = RayTarget.of(body).first_hits(eye[None], way[None] / np.linalg.norm(way))
    return hits.point[0] if hits.face[0] >= 0 else None


def normals_at(body: Mesh, eye: FloatArray, points: FloatArray) -> FloatArray:
    """Return the outward normals of a body's surface where points of it are seen, (n, 3)."""
    way = points - eye
    way /= np.linalg.norm(way, axis=1)[:, None]
    hits = RayTarget.of(body).first_hits(np.broadcast_to(eye, points.shape), way)
    return np.asarray(body.normals[hits.face])


def screen_axes(toward: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return right, up and toward of a camera held upright, (3,) float each, of length 1."""
    toward = toward / np.linalg.norm(toward)
    above = np.array([0.0, 0.0, 1.0]) if abs(toward[2]) < 0.9 else np.array([0.0, -1.0, 0.0])
    right = np.cross(above, toward)
    right /= np.linalg.norm(right)
    return right, np.cross(toward, right), toward


def _level(high: FloatArray, share: float) -> float:
    return float(high.min() + share * np.ptp(high))


def _ends(
    body: Mesh, across: FloatArray, high: FloatArray, near: FloatArray, word: str
) -> list[Landmark]:
    """Return the left and right end of what is highest, or the one point it is."""
    chosen = np.flatnonzero(high >= _level(high, 1.0 - FOOT))
    width = across[chosen]
    if np.ptp(width) < NARROW * np.ptp(across):
        return [Landmark(f"its {word}", _tenths(body.vertices[int(high.argmax())]))]
    found = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        ends = chosen[sign * width >= (sign * width).max() - SAME * np.ptp(width)]
        place = body.vertices[ends[int(near[ends].argmax())]]
        found.append(Landmark(f"the {side} end of its {word}", _tenths(place)))
    return found


def _tenths(place: FloatArray) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 1) + 0.0 for v in place)
    return x, y, z
