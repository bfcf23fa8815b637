"""How fine to be: faces of the result surface and cells of the grid."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.transport.problem import Medium

MOST_FACES = 20_000
"""Faces of a body's outer surface, about, at most."""
SOLID_CELLS = 30_000
"""Grid cells a solid body gets if nothing asks for more."""
MOST_CELLS = 200_000
"""Grid cells of a body, about, at most."""
CELLS_ACROSS_WALL = 2


def face_size_mm(outer: Mesh, wall_mm: float | None, led_depth_mm: FloatArray) -> float:
    """Return the edge of result faces: a third of what decides the detail, within a budget.

    Detail comes from the wall of a shell and from how deep the LEDs lie.
    """
    area = float(outer.areas_mm2.sum())
    # An equilateral triangle of edge e has the area 0.433 e^2.
    least = np.sqrt(area / (0.433 * MOST_FACES))
    most = np.sqrt(area / (0.433 * 3000))
    wanted = most
    if len(led_depth_mm):
        wanted = min(wanted, float(led_depth_mm.min()) / 3)
    if wall_mm is not None:
        wanted = min(wanted, wall_mm)
    return float(np.clip(wanted, least, most))


def cell_size_mm(
    solids: Sequence[Mesh | None],
    media: Sequence[Medium],
    wall_mm: float | None,
    led_depth_mm: FloatArray,
) -> float:
    """Return the edge of grid cells: fine enough for wall, depth and decay, within a budget."""
    volume = sum(s.volume_mm3 for s in solids if s is not None)
    if volume <= 0:
        return 1.0
    wanted = (volume / SOLID_CELLS) ** (1 / 3)
    if wall_mm is not None:
        wanted = min(wanted, wall_mm / CELLS_ACROSS_WALL)
    if len(led_depth_mm):
        wanted = min(wanted, max(float(led_depth_mm.min()), 1.0) / 3)
    for medium in media:
        decay = np.sqrt(3 * medium.mu_a_per_mm * medium.mu_t_reduced_per_mm).max()
        if decay > 0:
            wanted = min(wanted, 0.7 / float(decay))
    return float(max(wanted, (volume / MOST_CELLS) ** (1 / 3)))
