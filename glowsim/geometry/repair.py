"""Repair of real meshes: do what is safe, say what was done, refuse the rest with the place.

Order: weld and drop rubbish; look at each connected piece, close its holes and turn it
outward; unite the pieces. A surface that still is not closed is rebuilt from its generalised
winding number (Barill et al., 'Fast winding numbers for soups and clouds', ACM TOG 37, 43
(2018)) where that number leaves no doubt.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import igl
import manifold3d
import numpy as np
import trimesh

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import (
    FloatArray,
    IntArray,
    Mesh,
    at_mm,
    from_manifold,
    to_manifold,
)

FLAT_HOLE = 0.02
"""A hole is flat when its rim leaves its plane by less than this share of its width."""
SMALL_HOLE = 0.12
"""A hole that is not flat is closed when it is narrower than this share of the body."""
REBUILD_CELLS = 96
"""Grid cells along the longest side when a surface is rebuilt."""


@dataclass
class _Piece:
    """One connected piece: a closed, outward mesh, and whether the file had it inside out."""

    mesh: Mesh
    inside_out: bool
    notes: list[str] = field(default_factory=list)


def repaired(
    vertices: FloatArray, faces: IntArray, what: str, keep: str = "all"
) -> tuple[Mesh, list[str]]:
    """Return a closed outward mesh and notes on every repair.

    vertices : (n, 3) float [mm];  faces : (m, 3) int;  `what` names the mesh in messages.
    `keep` is 'all' or 'largest' of several separate pieces. Raises GeometryError, naming the
    place in mm, where the surface cannot be closed with confidence.
    """
    clean, notes = _without_rubbish(vertices, faces, what)
    pieces, piece_notes = _closed_pieces(clean, what)
    notes += piece_notes
    if pieces is None:
        mesh, note = _rebuilt(clean, what)
        return mesh, [*notes, note]
    if keep == "largest" and len(pieces) > 1:
        pieces.sort(key=lambda piece: -piece.mesh.volume_mm3)
        notes.append(f"{what}: kept the largest of {len(pieces)} separate pieces")
        pieces = pieces[:1]
    return _united(pieces, what, notes)


def _without_rubbish(
    vertices: FloatArray, faces: IntArray, what: str
) -> tuple[trimesh.Trimesh, list[str]]:
    """Weld equal corners, drop faces without area and repeated faces."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    size = float(np.ptp(vertices, axis=0).max())
    digits = int(np.clip(5 - np.floor(np.log10(max(size, 1e-9))), 0, 12))
    mesh.merge_vertices(digits_vertex=digits)
    notes = []
    sound = mesh.nondegenerate_faces(height=1e-7 * size)
    if not sound.all():
        notes.append(f"{what}: dropped {np.count_nonzero(~sound)} faces without area")
        mesh.update_faces(sound)
    once = mesh.unique_faces()
    if not once.all():
        notes.append(f"{what}: dropped {np.count_nonzero(~once)} repeated faces")
        mesh.update_faces(once)
    mesh.remove_unreferenced_vertices()
    if len(mesh.faces) < 4:
        raise GeometryError(f"{what}: has no body; only {len(mesh.faces)} faces have an area")
    return mesh, notes


def _closed_pieces(mesh: trimesh.Trimesh, what: str) -> tuple[list[_Piece] | None, list[str]]:
    """Return the closed connected pieces, or None when one of them needs a rebuild."""
    groups = trimesh.graph.connected_components(
        mesh.face_adjacency, nodes=np.arange(len(mesh.faces))
    )
    pieces, notes, specks = [], [], 0
    for group in groups:
        part: Any = mesh.submesh([group], append=True, repair=False)
        if len(group) < 4 or part.area < 1e-4 * mesh.area:
            specks += 1
            continue
        edges, count = np.unique(part.edges_sorted, axis=0, return_counts=True)
        if (count > 2).any():
            place = part.vertices[edges[count > 2]].reshape(-1, 3).mean(axis=0)
            many = np.count_nonzero(count > 2)
            return None, [f"{what}: {many} edges join more than two faces, about {at_mm(place)}"]
        pieces.append(_closed_piece(part, what))
        notes += pieces[-1].notes
    if specks:
        notes.append(f"{what}: dropped {specks} loose specks of surface")
    return pieces, notes


def _closed_piece(part: trimesh.Trimesh, what: str) -> _Piece:
    notes = []
    flipped = not part.is_winding_consistent
    if flipped:
        trimesh.repair.fix_winding(part)
        notes.append(f"{what}: turned faces that pointed the wrong way")
    faces, vertices = np.asarray(part.faces, np.int64), np.asarray(part.vertices, float)
    closed = []
    for loop in _hole_loops(faces):
        vertices, faces, note = _close_hole(vertices, faces, loop, float(part.scale), what)
        closed.append(note)
    notes += closed[:3]
    if len(closed) > 3:
        notes.append(f"{what}: closed {len(closed) - 3} more holes like these")
    mesh = Mesh.single_part(vertices, faces)
    inside_out = mesh.volume_mm3 < 0
    if inside_out:
        mesh = Mesh.single_part(vertices, faces[:, ::-1])
    return _Piece(mesh, inside_out and not flipped, notes)


def _hole_loops(faces: IntArray) -> list[IntArray]:
    """Return the rims of holes as vertex loops, along the border of the surface.

    A rim that touches itself at a corner is cut into simple loops there.
    """
    directed = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    _, edge, count = np.unique(
        np.sort(directed, axis=1), axis=0, return_inverse=True, return_counts=True
    )
    ahead: dict[int, list[int]] = {}
    for start, end in directed[count[edge.ravel()] == 1].tolist():
        ahead.setdefault(start, []).append(end)
    loops = []
    while ahead:
        path = [next(iter(ahead))]
        while path[-1] in ahead:
            corner = path[-1]
            following = ahead[corner].pop()
            if not ahead[corner]:
                del ahead[corner]
            if following in path:
                first = path.index(following)
                loops.append(np.array(path[first:], np.int64))
                del path[first + 1 :]
            else:
                path.append(following)
    return loops


def _close_hole(
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
    kind = "a flat" if flat else "a small"
    note = f"{what}: closed {kind} hole {width:.1f} mm wide about {at_mm(centre)}"
    if flat:
        flat_rim = (rim - centre) @ spread[2][:2].T
        if _signed_area(flat_rim) < 0:
            cover = manifold3d.triangulate([flat_rim[::-1]])
            cover = np.asarray(cover, np.int64)[:, ::-1]
            cover = len(loop) - 1 - cover
        else:
            cover = np.asarray(manifold3d.triangulate([flat_rim]), np.int64)
        # The rim runs along the border of the surface, so the cover runs against it.
        return vertices, np.vstack([faces, loop[cover][:, ::-1]]), note
    fan = np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), len(vertices))])
    return np.vstack([vertices, centre]), np.vstack([faces, fan]), note


def _signed_area(outline: FloatArray) -> float:
    x, y = outline.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _united(pieces: list[_Piece], what: str, notes: list[str]) -> tuple[Mesh, list[str]]:
    """Unite solid pieces and cut out voids: pieces inside another that face the other way."""
    solids: list[_Piece] = []
    voids: list[_Piece] = []
    for piece in pieces:
        others = [other for other in pieces if other is not piece and _contains(other, piece)]
        is_void = len(others) % 2 == 1 and piece.inside_out != others[0].inside_out
        (voids if is_void else solids).append(piece)
    if any(piece.inside_out for piece in solids):
        notes.append(f"{what}: was inside out; turned it")
    add, subtract = manifold3d.OpType.Add, manifold3d.OpType.Subtract
    body = manifold3d.Manifold.batch_boolean([to_manifold(p.mesh, what) for p in solids], add)
    if len(solids) > 1:
        notes.append(f"{what}: united {len(solids)} pieces into one body")
    if voids:
        notes.append(f"{what}: kept {len(voids)} hollow(s) inside")
        body = manifold3d.Manifold.batch_boolean(
            [body, *(to_manifold(p.mesh, what) for p in voids)], subtract
        )
    if len(pieces) == 1:
        return pieces[0].mesh, notes
    return from_manifold(body), notes


def _contains(outer: _Piece, inner: _Piece) -> bool:
    """Whether a corner of `inner` lies inside `outer`."""
    low, high = outer.mesh.bounds
    corner = inner.mesh.vertices[:1]
    if (corner < low).any() or (corner > high).any():
        return False
    winding = igl.fast_winding_number(outer.mesh.vertices, outer.mesh.faces, corner)
    return bool(np.atleast_1d(winding)[0] > 0.5)


def _rebuilt(mesh: trimesh.Trimesh, what: str) -> tuple[Mesh, str]:
    """Return the surface where the winding number is one half, if it is sharp enough to trust."""
    trimesh.repair.fix_winding(mesh)
    vertices, faces = np.asarray(mesh.vertices, float), np.asarray(mesh.faces, np.int64)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    step = float((high - low).max()) / REBUILD_CELLS
    axes = [np.arange(a - 2.13 * step, b + 2 * step, step) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    winding = np.asarray(igl.fast_winding_number(vertices, faces, grid))
    winding = winding if winding.sum() >= 0 else -winding
    doubtful = (winding > 0.2) & (winding < 0.8)
    border = np.abs(winding - 0.5) < 0.5
    near_surface = max(np.count_nonzero(border), mesh.area / step**2)
    if np.count_nonzero(doubtful) > 0.1 * near_surface:
        raise GeometryError(
            f"{what}: the surface is too broken to tell inside from outside about "
            f"{at_mm(grid[doubtful].mean(axis=0))}; mend it in the modelling program"
        )
    shape = [len(axis) for axis in axes]
    new_vertices, new_faces = marched(winding.reshape(shape), axes, 0.5)
    body = Mesh.single_part(new_vertices, new_faces)
    to_manifold(body, what)
    return body, (
        f"{what}: rebuilt the whole surface from inside and outside; detail finer than "
        f"{step:.2g} mm is lost"
    )


def marched(
    values: FloatArray, axes: list[FloatArray], level: float
) -> tuple[FloatArray, IntArray]:
    """Return the surface where grid `values` cross `level`, facing toward lower values.

    values : (nx, ny, nz) float;  axes : the grid's coordinates along x, y, z [mm].
    Returns vertices (n, 3) float [mm] and faces (m, 3) int; both empty if nothing crosses.
    """
    nx, ny, nz = values.shape
    # The library's grid runs fastest along x.
    order = (
        np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).transpose(2, 1, 0, 3).reshape(-1, 3)
    )
    flat = np.ascontiguousarray(level - values.transpose(2, 1, 0).ravel())
    vertices, faces, _ = igl.marching_cubes(flat, np.ascontiguousarray(order), nx, ny, nz, 0.0)
    vertices, faces = np.asarray(vertices, float), np.asarray(faces, np.int64)
    if len(faces) == 0:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int64)
    if Mesh.single_part(vertices, faces).volume_mm3 < 0:
        faces = faces[:, ::-1]
    return vertices, faces
