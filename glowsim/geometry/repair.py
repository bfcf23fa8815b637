"""Repair of real meshes: do what is safe, say what was done, refuse the rest with the place.

Order: weld and drop rubbish; look at each connected piece, close its holes and turn it
outward; unite the pieces. A surface that still is not closed, or runs through itself, is
rebuilt from inside and outside where these leave no doubt.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import igl
import manifold3d
import numpy as np
import trimesh
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from glowsim.errors import GeometryError
from glowsim.geometry.holes import open_edges, with_holes_closed
from glowsim.geometry.inside import winding_number
from glowsim.geometry.mesh import (
    FloatArray,
    IntArray,
    Mesh,
    at_mm,
    from_manifold,
    to_manifold,
)
from glowsim.geometry.notes import Doubt
from glowsim.geometry.rebuild import rebuilt
from glowsim.geometry.unzip import unzipped

WELD_SHARES = (1e-5, 1e-4)
"""How far apart open edges may lie to be welded, as shares of the body's size."""
SPECK_SHARE = 1e-4
"""A loose piece with less than this share of the surface is dropped."""
SCRAP_SHARE = 0.25
"""A surface with holes and more loose scraps than this share is not mended piece by piece."""
LOSE_SHARE = 0.02
"""Loose pieces that cannot be closed are dropped up to this share of the surface."""
THROUGH_ITSELF = 0.002
"""Share of a surface that may lie inside the body without being noticed."""


@dataclass(eq=False)
class _Piece:
    """One connected piece: a closed, outward mesh, and how it came in the file."""

    mesh: Mesh
    inside_out: bool
    was_closed: bool
    notes: list[str] = field(default_factory=list)

    @property
    def is_flat(self) -> bool:
        """Whether the piece is a sheet, closed upon itself, that holds no volume."""
        return self.mesh.volume_mm3 < 1e-6 * float(self.mesh.areas_mm2.sum()) ** 1.5


def repaired(
    vertices: FloatArray, faces: IntArray, what: str, keep: str = "all"
) -> tuple[Mesh, list[str]]:
    """Return a closed outward mesh and notes on every repair.

    vertices : (n, 3) float [mm];  faces : (m, 3) int;  `what` names the mesh in messages.
    `keep` is 'all' or 'largest' of several separate pieces. Raises GeometryError, naming the
    place in mm, where the surface cannot be closed with confidence.
    """
    clean, notes = without_rubbish(vertices, faces, what)
    try:
        pieces, piece_notes = _closed_pieces(clean, what)
    except GeometryError as fault:
        return _rebuilt_instead(clean, what, notes, fault)
    notes += piece_notes
    if keep == "largest" and len(pieces) > 1:
        pieces = _largest(pieces)
        notes.append(f"{what}: kept the largest of the separate pieces")
    mesh, more = _united(pieces, what)
    notes += more
    place = runs_through_itself(mesh)
    if place is not None:
        mesh, note = rebuilt(mesh.vertices, mesh.faces, what)
        notes += [f"{what}: its surface runs through itself about {at_mm(place)}", note]
    return mesh, notes


def without_rubbish(
    vertices: FloatArray, faces: IntArray, what: str
) -> tuple[trimesh.Trimesh, list[str]]:
    """Weld equal corners, drop faces without area and repeated faces."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    size = float(np.ptp(vertices, axis=0).max())
    digits = int(np.clip(5 - np.floor(np.log10(max(size, 1e-9))), 0, 12))
    mesh.merge_vertices(digits_vertex=digits)
    for share in WELD_SHARES:
        _weld_open_edges(mesh, share * size)
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


def _weld_open_edges(mesh: trimesh.Trimesh, distance_mm: float) -> None:
    """Join corners of open edges that lie within a distance of each other."""
    border = np.unique(open_edges(np.asarray(mesh.faces, np.int64)))
    if len(border) == 0:
        return
    pairs = cKDTree(mesh.vertices[border]).query_pairs(distance_mm, output_type="ndarray")
    shape = (len(border), len(border))
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=shape)
    _, group = connected_components(links, directed=False)
    _, first = np.unique(group, return_index=True)
    new = np.arange(len(mesh.vertices))
    new[border] = border[first[group]]
    mesh.faces = new[mesh.faces]


def _closed_pieces(mesh: trimesh.Trimesh, what: str) -> tuple[list[_Piece], list[str]]:
    """Return the closed connected pieces; raise GeometryError where one is too broken."""
    groups = trimesh.graph.connected_components(
        mesh.face_adjacency, nodes=np.arange(len(mesh.faces))
    )
    area = [float(mesh.area_faces[group].sum()) for group in groups]
    whole = [
        len(group) >= 4 and size >= SPECK_SHARE * mesh.area
        for group, size in zip(groups, area, strict=True)
    ]
    pieces, broken = [], []
    for group, size, is_whole in zip(groups, area, whole, strict=True):
        if not is_whole:
            continue
        part = mesh.submesh([group], append=True, repair=False)
        try:
            pieces.append(_closed_piece(part, what))
        except GeometryError as fault:
            corners = mesh.triangles[group].reshape(-1, 3)
            middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
            broken.append((size, fault, middle))
    lost = sum(size for size, _, _ in broken)
    if lost > LOSE_SHARE * mesh.area:
        raise max(broken, key=lambda piece: piece[0])[1]
    scraps = sum(size for size, is_whole in zip(area, whole, strict=True) if not is_whole)
    if scraps > SCRAP_SHARE * mesh.area and not any(piece.was_closed for piece in pieces):
        raise GeometryError(f"{what}: its surface falls apart into {len(groups)} loose scraps")
    bodies = [piece for piece in pieces if not piece.is_flat]
    if not bodies:
        raise GeometryError(
            f"{what}: has no thickness; a surface must enclose a body. Give it thickness in the "
            "modelling program"
        )
    notes = [note for piece in bodies for note in piece.notes]
    notes += [
        f"{what}: dropped a loose scrap about {at_mm(place)}, which cannot be closed"
        for _, _, place in broken
    ]
    if dropped := len(groups) - len(bodies) - len(broken):
        notes.append(f"{what}: dropped {dropped} loose specks or sheets of surface")
    return bodies, notes


def _closed_piece(part: Any, what: str) -> _Piece:
    """Return a connected part of a mesh, closed and turned outward."""
    # As one number each: rows are slow to sort.
    corners = len(part.vertices)
    keys, count = np.unique(part.edges_sorted @ [corners, 1], return_counts=True)
    edges = np.column_stack(np.divmod(keys, corners))
    notes = []
    if (count > 2).any():
        place = part.vertices[edges[count > 2]].reshape(-1, 3).mean(axis=0)
        apart = unzipped(np.asarray(part.vertices, float), np.asarray(part.faces, np.int64))
        part = trimesh.Trimesh(*apart, process=False)
        notes.append(
            f"{what}: parted {np.count_nonzero(count > 2)} edges that joined more than two "
            f"faces, about {at_mm(place)}"
        )
    faces = np.asarray(part.faces, np.int64)
    flipped = not part.is_winding_consistent
    if flipped:
        faces, _ = igl.bfs_orient(faces)
        notes.append(f"{what}: turned faces that pointed the wrong way")
    vertices, faces, closed = with_holes_closed(
        np.asarray(part.vertices, float), faces, float(part.scale), what
    )
    mesh = Mesh.single_part(vertices, faces)
    inside_out = mesh.volume_mm3 < 0
    if inside_out:
        mesh = Mesh.single_part(vertices, faces[:, ::-1])
    to_manifold(mesh, what)
    return _Piece(mesh, inside_out and not flipped, not closed, notes + closed)


def _rebuilt_instead(
    mesh: trimesh.Trimesh, what: str, notes: list[str], fault: GeometryError
) -> tuple[Mesh, list[str]]:
    """Return the rebuilt surface; raise `fault` if inside and outside are in doubt."""
    faces, _ = igl.bfs_orient(np.asarray(mesh.faces, np.int64))
    try:
        body, note = rebuilt(np.asarray(mesh.vertices, float), faces, what)
    except GeometryError:
        raise fault from None
    return body, [*notes, str(fault).split("; ")[0], note]


def _largest(pieces: list[_Piece]) -> list[_Piece]:
    """Return the piece of greatest volume and the pieces within it."""
    largest = int(np.argmax([piece.mesh.volume_mm3 for piece in pieces]))
    around = _around(pieces)
    return [piece for k, piece in enumerate(pieces) if k == largest or largest in around[k]]


def _united(pieces: list[_Piece], what: str) -> tuple[Mesh, list[str]]:
    """Unite solid pieces and cut out voids: pieces inside another that face the other way."""
    notes: list[str] = []
    around = _around(pieces)
    void = [_is_void(k, pieces, around[k]) for k in range(len(pieces))]
    solids = [piece for piece, is_void in zip(pieces, void, strict=True) if not is_void]
    notes += [
        _swallowed(piece.mesh, what)
        for piece, is_void, others in zip(pieces, void, around, strict=True)
        if len(others) % 2 and not is_void
    ]
    if any(piece.inside_out for piece in solids):
        notes.append(f"{what}: was inside out; turned it")
    if len(pieces) == 1:
        return pieces[0].mesh, notes
    if len(solids) > 1:
        notes.append(f"{what}: united {len(solids)} pieces into one body")
    if any(void):
        notes.append(f"{what}: kept {sum(void)} hollow(s) inside")
    body = manifold3d.Manifold()
    for level in range(max(len(others) for others in around) + 1):
        for is_void, work in ((False, manifold3d.OpType.Add), (True, manifold3d.OpType.Subtract)):
            tools = [
                to_manifold(piece.mesh, what)
                for k, piece in enumerate(pieces)
                if len(around[k]) == level and void[k] == is_void
            ]
            if tools:
                body = manifold3d.Manifold.batch_boolean([body, *tools], work)
    apart = sum(piece.volume() > 0 for piece in body.decompose())
    if apart > 1:
        notes.append(
            f"{what}: {apart} of its pieces are not joined to each other; if one is meant, say "
            'keep = "largest"'
        )
    return from_manifold(body), notes


def _swallowed(inner: Mesh, what: str) -> Doubt:
    """Return what is asked about a piece that lies in another and faces the same way."""
    size = " x ".join(f"{s:.3g}" for s in inner.size_mm)
    return Doubt(
        f"{what}: an inner surface of {size} mm about {at_mm(inner.bounds.mean(axis=0))} faces the "
        "same way as the outer one: it is taken as solid material. If a hollow is meant, turn its "
        "faces in the modelling program"
    )


def _is_void(number: int, pieces: list[_Piece], around: list[int]) -> bool:
    """Whether a piece, within the pieces `around` it, is a hollow rather than a body."""
    if len(around) % 2 == 0:
        return False
    nearest = min(around, key=lambda k: pieces[k].mesh.volume_mm3)
    return pieces[number].inside_out != pieces[nearest].inside_out


def _around(pieces: list[_Piece]) -> list[list[int]]:
    """Return for each piece the numbers of the pieces it lies within."""
    low = np.array([piece.mesh.bounds[0] for piece in pieces])
    high = np.array([piece.mesh.bounds[1] for piece in pieces])
    found = []
    for k, piece in enumerate(pieces):
        near = ((low <= low[k]) & (high >= high[k])).all(axis=1)
        near[k] = False
        corners = piece.mesh.vertices[:: max(1, len(piece.mesh.vertices) // 64)]
        found.append([int(j) for j in np.nonzero(near)[0] if _holds(pieces[j].mesh, corners)])
    return found


def _holds(mesh: Mesh, points: FloatArray) -> bool:
    return bool((winding_number(mesh.vertices, mesh.faces, points) > 0.5).all())


def runs_through_itself(mesh: Mesh) -> FloatArray | None:
    """Return a place where the surface lies inside the body, or None if it does not.

    Just in front of a sound surface the winding number is 0 everywhere.
    """
    ahead = mesh.centroids + 1e-5 * float(mesh.size_mm.max()) * mesh.normals
    within = np.abs(winding_number(mesh.vertices, mesh.faces, ahead)) > 0.5
    if mesh.areas_mm2[within].sum() <= THROUGH_ITSELF * mesh.areas_mm2.sum():
        return None
    return np.asarray(mesh.centroids[within].mean(axis=0))
