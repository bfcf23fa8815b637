"""How fine to be: faces of the result surface and cells of the grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from glowsim.geometry.mesh import FloatArray, Mesh, to_manifold
from glowsim.transport.problem import Medium

MOST_FACES = 20_000
"""Faces of a body's outer surface, about, at most."""
SOLID_CELLS = 30_000
"""Grid cells a solid body gets if nothing asks for more."""
MOST_CELLS = 200_000
"""Grid cells of a body, about, at most."""
CELLS_ACROSS_WALL = 2
CELLS_ACROSS_SPOT, SPOT_CELL = 2, 0.85
"""A light behind the wall of a shell makes a spot about as wide as it is away: cells are half of
that, but no finer than the second number in transport lengths. Beside the reference, 1.5 mm behind
3 mm of milky resin (3.3 transport lengths): -8 % in the spot and -12 +- 1 % in a ring about it with
cells of 1.2 mm, -2 and -8 % with 0.75 mm."""
HARD_LIMIT = 10
"""A scene may ask for this many times the faces or cells of the budget, and no more."""


@dataclass(frozen=True)
class Sizes:
    """Faces and cells a body is solved on, where its scene does not say: what is to be compared
    is solved on the same ones, or a steep tip is sampled differently, by some percent."""

    face_mm: float
    cell_mm: float


def stepped_mm(depth_mm: FloatArray) -> float:
    """Return the least of some depths, rounded down to a power of the root of two [mm].

    So that a light that is moved a little asks for the same faces and cells.
    """
    least = max(float(depth_mm.min()), 1e-3)
    return float(2 ** (np.floor(2 * np.log2(least) + 1e-9) / 2))


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
        wanted = min(wanted, stepped_mm(led_depth_mm) / 3)
    if wall_mm is not None:
        wanted = min(wanted, wall_mm)
    size = float(np.clip(wanted, least, most))
    # Slender faces are cut along their length only, and give more pieces than their area says.
    solid = to_manifold(outer, "surface")
    for _ in range(20):
        if size > float(outer.size_mm.max()) or _faces_at(solid, size) <= MOST_FACES:
            break
        size *= 1.15
    return size


def least_face_mm(outer: Mesh) -> float:
    """Return the least edge of result faces that a scene may ask for."""
    area = float(outer.areas_mm2.sum())
    return float(np.sqrt(area / (0.433 * HARD_LIMIT * MOST_FACES)))


def _faces_at(solid: Manifold, face_mm: float) -> int:
    """Return how many faces a surface has when no edge is longer than `face_mm`; where it has too
    many as it is, these: no faces are ever joined."""
    least = int(solid.num_tri())
    return least if least > MOST_FACES else int(solid.refine_to_length(face_mm).num_tri())


def cell_size_mm(
    solids: Sequence[Mesh],
    media: Sequence[Medium],
    wall_mm: float | None,
    led_depth_mm: FloatArray,
) -> float:
    """Return the edge of grid cells: fine enough for wall, depth and decay, within a budget."""
    volume, surface = _extent(solids)
    if volume <= 0:
        return 1.0
    wanted = _cell_for(volume, surface, SOLID_CELLS)
    if wall_mm is not None:
        wanted = min(wanted, wall_mm / CELLS_ACROSS_WALL)
        behind = led_depth_mm[led_depth_mm > wall_mm] - wall_mm
        if len(behind):
            dense = max(float(medium.mu_t_reduced_per_mm.max()) for medium in media)
            spot = max(stepped_mm(behind), 1.0) / CELLS_ACROSS_SPOT
            wanted = min(wanted, max(spot, SPOT_CELL / max(dense, 1e-9)))
    if len(led_depth_mm):
        wanted = min(wanted, max(stepped_mm(led_depth_mm), 1.0) / 3)
    for medium in media:
        decay = np.sqrt(3 * medium.mu_a_per_mm * medium.mu_t_reduced_per_mm).max()
        if decay > 0:
            wanted = min(wanted, 0.7 / float(decay))
    return max(wanted, _cell_for(volume, surface, MOST_CELLS))


def least_cell_mm(solids: Sequence[Mesh]) -> float:
    """Return the least edge of grid cells that a scene may ask for."""
    volume, surface = _extent(solids)
    return _cell_for(volume, surface, HARD_LIMIT * MOST_CELLS) if volume > 0 else 0.0


def cell_for_mm(solids: Sequence[Mesh], cells: int = MOST_CELLS) -> float:
    """Return the edge at which closed solids take up about so many grid cells."""
    return _cell_for(*_extent(solids), cells)


def _extent(solids: Sequence[Mesh]) -> tuple[float, float]:
    """Return volume [mm3] and surface [mm2] of several meshes."""
    volume = sum(solid.volume_mm3 for solid in solids)
    return volume, sum(float(solid.areas_mm2.sum()) for solid in solids)


def _cell_for(volume_mm3: float, surface_mm2: float, cells: int) -> float:
    """Return the cell edge at which a body takes up about so many cells, cut ones included.

    A surface crosses 1.5 cells per cell face area of it (the mean of |nx| + |ny| + |nz| over
    all directions), half of which the volume counts already: n = V / c^3 + 0.75 S / c^2.
    """
    roots = np.roots([cells, 0.0, -0.75 * surface_mm2, -volume_mm3])
    return float(roots[np.abs(roots.imag) < 1e-9 * np.abs(roots)].real.max())
