"""A new surface for one too broken to mend: where the generalised winding number is one half.

Corners of the new surface are set onto the old one wherever it runs.
"""

from __future__ import annotations

import igl
import numpy as np
from scipy import ndimage

from glowsim.errors import GeometryError
from glowsim.geometry.contour import contoured
from glowsim.geometry.inside import winding_number
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm, from_manifold, to_manifold

CELLS = 96
"""Grid cells along the longest side."""
DOUBT = 0.2
"""A winding number within 0.5 -+ (0.5 - DOUBT) of one half tells neither inside nor outside."""
DOUBTFUL_WIDTH = 0.12
"""The widest place of doubt that is bridged, as a share of the body's size."""


def rebuilt(vertices: FloatArray, faces: IntArray, what: str) -> tuple[Mesh, str]:
    """Return the surface where the winding number is one half, and a note.

    vertices : (n, 3) float [mm];  faces : (m, 3) int, most of them turning the same way.
    Raises GeometryError, naming the place, where inside and outside cannot be told apart.
    """
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    step = float((high - low).max()) / CELLS
    axes = [np.arange(a - 2.13 * step, b + 2 * step, step) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    winding = winding_number(vertices, faces, grid.reshape(-1, 3)).reshape(grid.shape[:3])
    if winding.sum() < 0:
        winding, faces = -winding, faces[:, ::-1]
    if np.count_nonzero(winding < -0.5) > 0.02 * np.count_nonzero(winding > 0.5):
        raise GeometryError(
            f"{what}: its faces turn both ways, so inside and outside cannot be told apart; mend "
            "it in the modelling program"
        )
    _refuse_doubt(winding, grid, step, what)
    old = Mesh.single_part(vertices, faces)
    new_vertices, new_faces = contoured(
        np.clip(winding, 0.0, 1.0), axes, 0.5, lambda points: _onto(old, points, step)
    )
    if len(new_faces) == 0:
        raise GeometryError(f"{what}: encloses no space; export it again as a closed body")
    body = to_manifold(Mesh.single_part(new_vertices, new_faces), what).simplify(0.1 * step)
    return from_manifold(body), (
        f"{what}: rebuilt the whole surface from inside and outside; detail finer than "
        f"{step:.2g} mm is lost"
    )


def _refuse_doubt(winding: FloatArray, grid: FloatArray, step: float, what: str) -> None:
    """Raise GeometryError at the widest place where inside and outside cannot be told apart."""
    patches, count = ndimage.label((winding > DOUBT) & (winding < 1 - DOUBT))
    if count == 0:
        return
    widths = [max(s.stop - s.start for s in box) for box in ndimage.find_objects(patches)]
    widest = int(np.argmax(widths))
    if widths[widest] > max(DOUBTFUL_WIDTH * CELLS, 3):
        place = grid[patches == widest + 1].mean(axis=0)
        raise GeometryError(
            f"{what}: the surface is too broken to tell inside from outside about "
            f"{at_mm(place)}, over {widths[widest] * step:.1f} mm; mend it in the modelling program"
        )


def _onto(old: Mesh, points: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Move points onto the old surface where it is near; return them and its normals there.

    The normal is zero where the old surface is missing.
    """
    squared, face, nearest = igl.point_mesh_squared_distance(points, old.vertices, old.faces)
    near = (np.asarray(squared) < step**2)[:, None]
    return np.where(near, nearest, points), np.where(near, old.normals[face], 0.0)
