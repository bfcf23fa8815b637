"""Holes in a surface: find their rims, close the flat and the small ones."""

from __future__ import annotations

import manifold3d
import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.curves import area_within
from glowsim.geometry.mesh import FloatArray, IntArray, at_mm, directed_edges
from glowsim.geometry.notes import Closure, Doubt

FLAT_HOLE = 0.05
"""A hole is flat when its rim leaves its plane by less than this share of its width."""
SMALL_HOLE = 0.12
"""A hole that is not flat is closed when it is narrower than this share of the body."""
SLIT = 1e-4
"""A hole narrower than this share of the body lets nothing through: corners on an edge that the
face beside it lacks."""
DOUBTFUL = 0.1
"""A closure wider than this share of the body is asked about."""


def open_edges(faces: IntArray) -> IntArray:
    """Return the directed edges that belong to one face only, (n, 2) int."""
    directed = directed_edges(faces)
    low, high = directed.min(axis=1), directed.max(axis=1)
    number = low * (int(faces.max(initial=0)) + 1) + high
    _, edge, count = np.unique(number, return_inverse=True, return_counts=True)
    return np.asarray(directed[count[edge.ravel()] == 1])


def with_holes_closed(
    vertices: FloatArray, faces: IntArray, size_mm: float, what: str
) -> tuple[FloatArray, IntArray, list[str]]:
    """Close the holes of a surface whose faces all turn the same way.

    vertices : (n, 3) float [mm];  faces : (m, 3) int;  size_mm : the body's size.
    Returns the vertices, the faces and a note for each of the first holes. Raises
    GeometryError, naming the place, for a hole that is neither flat nor small. The largest comes
    first.
    """
    notes = []
    for loop in sorted(rims(faces), key=lambda rim: -float(np.ptp(vertices[rim], axis=0).max())):
        vertices, faces, note = _closed(vertices, faces, loop, size_mm, what)
        notes.append(note)
    asked = [note for note in notes if isinstance(note, Doubt)]
    if len(notes) > max(4, len(asked)):
        shown = max(3, len(asked))
        notes = [*notes[:shown], f"{what}: closed {len(notes) - shown} more holes like these"]
    return vertices, faces, notes


def rims(faces: IntArray) -> list[IntArray]:
    """Return the rims of holes as vertex loops, along the border of the surface.

    A rim that touches itself at a corner is cut into simple loops there.
    """
    ahead: dict[int, list[int]] = {}
    for start, end in open_edges(faces).tolist():
        ahead.setdefault(start, []).append(end)
    loops = []
    while ahead:
        path = [next(iter(ahead))]
        place = {path[0]: 0}
        while path[-1] in ahead:
            corner = path[-1]
            following = ahead[corner].pop()
            if not ahead[corner]:
                del ahead[corner]
            if following in place:
                first = place[following]
                loops.append(np.array(path[first:], np.int64))
                for passed in path[first + 1 :]:
                    del place[passed]
                del path[first + 1 :]
            else:
                place[following] = len(path)
                path.append(following)
    return loops


def _closed(
    vertices: FloatArray, faces: IntArray, loop: IntArray, size_mm: float, what: str
) -> tuple[FloatArray, IntArray, str]:
    """Close one hole with a flat cover or a small fan; raise GeometryError if it is neither."""
    rim = vertices[loop]
    centre = rim.mean(axis=0)
    width = float(np.ptp(rim, axis=0).max())
    spread = np.linalg.svd(rim - centre, full_matrices=False)
    off_plane = float(np.abs((rim - centre) @ spread[2][2]).max())
    flat = off_plane <= FLAT_HOLE * width
    if not flat and width > SMALL_HOLE * size_mm:
        raise GeometryError(
            f"{what}: has a hole {width:.1f} mm wide about {at_mm(centre)} that is too large and "
            "too crooked to close; close it in the modelling program"
        )
    slit = float(np.ptp((rim - centre) @ spread[2][1])) <= SLIT * size_mm
    kind = "a flat hole" if flat else "a small hole"
    note = f"{what}: closed {kind} {width:.1f} mm wide about {at_mm(centre)}"
    if slit:
        note = f"{what}: closed a slit {width:.1f} mm long about {at_mm(centre)}"
    elif width > DOUBTFUL * size_mm:
        note = Closure.of(
            rim,
            f"{note}. Is it closed? If this is a skin without thickness, wall_mm makes it a shell",
        )
    lid = cover((rim - centre) @ spread[2][:2].T) if flat else np.zeros((0, 3), np.int64)
    if len(lid) == len(loop) - 2:
        # The rim runs along the border of the surface, so the lid runs against it.
        return vertices, np.vstack([faces, loop[lid][:, ::-1]]), note
    fan = np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), len(vertices))])
    return np.vstack([vertices, centre]), np.vstack([faces, fan]), note


def cover(rim: FloatArray) -> IntArray:
    """Return triangles over a flat outline, (n, 2) float, turning the way it does, (m, 3) int."""
    if area_within(rim) > 0:
        return np.asarray(manifold3d.triangulate([rim]), np.int64).reshape(-1, 3)
    turned = np.asarray(manifold3d.triangulate([rim[::-1]]), np.int64).reshape(-1, 3)
    return (len(rim) - 1 - turned)[:, ::-1]
