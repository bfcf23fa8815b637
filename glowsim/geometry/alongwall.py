"""Strips that go by the wall of their body: a path along its inside, and which way that faces."""

from __future__ import annotations

import numpy as np
import trimesh

from glowsim.errors import GeometryError
from glowsim.geometry.curves import lengths_along, points_along
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, Mesh, at_mm
from glowsim.geometry.rays import RayTarget
from glowsim.scene.paths import PathInside

GLUE_MM = 1.0
"""Between a strip's back and the wall it is stuck to, where the scene does not say: its tape, and
what its flat width and pieces lose to a wall that bends (an estimate)."""
WIRES_MM = 4.0
"""Between a board of a chain and the wall: its soldered wires, and what its flat back loses to a
wall that bends (common practice, no source)."""
NEAR_MM = 1e-3
"""A strip nearer than this to the wall's surface lies in it."""
RAY_DEG = 1.0
"""Between the rays that look for the wall."""
STEP_MM = 6.0
"""Between the points of a path along a wall, so that the facets of its mesh are no bends."""
JUMP = 8.0
"""A wall goes farther or nearer by less than this many times the way along it."""


def path_on_wall(wall: Mesh, wanted: PathInside, usual_mm: float) -> FloatArray:
    """Return the line of LEDs' faces along an inside wall, (n, 3) float [mm].

    Rays from the middle of the wall's section at the wanted height find it; the line keeps `off_mm`
    (else `usual_mm`) from it. Raises GeometryError, with the place, where there is no wall.
    """
    middle = _middle(wall, wanted.height_mm)
    start = wanted.from_deg
    end = start + 360 if wanted.to_deg is None else wanted.to_deg
    turns = np.linspace(start, end, max(3, int(abs(end - start) / RAY_DEG) + 1))
    angle = np.radians(turns)
    rays = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(len(turns))])
    hits = RayTarget.of(wall).first_hits(np.tile(middle, (len(rays), 1)), rays)
    if (hits.face < 0).any():
        missed = turns[hits.face < 0]
        raise GeometryError(
            f"there is no inside wall from {missed.min():.0f} to {missed.max():.0f} degrees at "
            f"{wanted.height_mm:g} mm, seen from {at_mm(middle)} (0 is +x, 90 is +y): look at "
            "from_deg and to_deg"
        )
    reach = hits.distance_mm
    wide = np.minimum(reach[1:], reach[:-1]) * np.abs(np.diff(angle))
    jumps = np.abs(np.diff(reach)) > JUMP * wide
    if jumps.any():
        place = hits.point[int(jumps.argmax())]
        raise GeometryError(
            f"the inside wall breaks off about {at_mm(place)}; end the strip there (from_deg, "
            "to_deg), or give its points (path_mm)"
        )
    inward = wall.normals[hits.face]
    inward = inward * -np.sign(np.einsum("nd,nd->n", inward, rays))[:, None]
    off = usual_mm if wanted.off_mm is None else wanted.off_mm
    line = hits.point + off * inward
    if abs(end - start) == 360:
        line[-1] = line[0]  # whatever facets the two rays met: it is closed
    way = lengths_along(line)
    return points_along(line, np.linspace(0, way[-1], max(3, round(way[-1] / STEP_MM) + 1)))


def away_from_wall(wall: Mesh, points: FloatArray) -> FloatArray:
    """Return the unit directions from the nearest places of a wall to points, (n, 3) float.

    Raises GeometryError, with the place, for a point that lies in the wall.
    """
    distance, nearest, _ = nearest_on(wall, points)
    if (distance < NEAR_MM).any():
        place = points[int(distance.argmin())]
        raise GeometryError(f"the strip runs in the wall itself at {at_mm(place)}")
    return np.asarray((points - nearest) / distance[:, None])


def _middle(wall: Mesh, height_mm: float) -> FloatArray:
    """Return the middle of a wall's extent at a height, (3,) float [mm]."""
    mesh = trimesh.Trimesh(wall.vertices, wall.faces, process=False)
    cuts = trimesh.intersections.mesh_plane(mesh, (0.0, 0.0, 1.0), (0.0, 0.0, height_mm))
    if len(cuts) == 0:
        low, high = wall.bounds[:, 2]
        raise GeometryError(
            f"there is no inside wall at {height_mm:g} mm; it reaches from {low:.1f} to "
            f"{high:.1f} mm"
        )
    points = np.asarray(cuts, dtype=float).reshape(-1, 3)
    return np.append((points.min(axis=0) + points.max(axis=0))[:2] / 2, height_mm)
