"""Repair of real meshes: do what is safe, say what was done, refuse the rest with the place.

Order: weld and drop rubbish; look at each connected piece, close its holes and turn it
outward; unite the pieces. A surface that still is not closed, or runs through itself, is
rebuilt from inside and outside where these leave no doubt.
"""

from __future__ import annotations

import igl
import manifold3d
import numpy as np
import trimesh
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from glowsim.errors import GeometryError
from glowsim.geometry.holes import open_edges
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
from glowsim.geometry.pieces import Piece, closed_pieces
from glowsim.geometry.rebuild import rebuilt
from glowsim.geometry.rimless import opened_rims

WELD_SHARES = (1e-5, 1e-4)
"""How far apart open edges may lie to be welded, as shares of the body's size."""
MOST = 0.6
"""A piece that faces the other way is the hollow of what holds this share of its corners."""
THROUGH_ITSELF = 0.002
"""Share of a surface that may lie inside the body without being noticed."""
LOOKED_AT = 30_000
"""Faces of a finer mesh that are looked at for that, drawn at random: that share is then known to
an eighth of itself."""


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
        pieces, piece_notes = closed_pieces(clean, what)
    except GeometryError as fault:
        return _rebuilt_instead(clean, what, notes, fault)
    if keep == "largest" and len(pieces) > 1:
        pieces = _largest(pieces)
        piece_notes.append(f"{what}: kept the largest of the separate pieces")
    mesh, more = _united(pieces, what)
    notes += [*(note for piece in pieces for note in piece.notes), *piece_notes, *more]
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


def _largest(pieces: list[Piece]) -> list[Piece]:
    """Return the piece of greatest volume and the pieces within it."""
    largest = int(np.argmax([piece.mesh.volume_mm3 for piece in pieces]))
    around = _around(pieces)
    return [piece for k, piece in enumerate(pieces) if k == largest or largest in around[k]]


def _united(pieces: list[Piece], what: str) -> tuple[Mesh, list[str]]:
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
    if all(piece.inside_out for piece in solids):
        notes.append(f"{what}: was inside out; turned it")
    else:
        notes += [_turned(piece.mesh, what) for piece in solids if piece.inside_out]
    if len(pieces) == 1:
        return pieces[0].mesh, notes
    mouths: list[manifold3d.Manifold] = []
    for k in np.flatnonzero(void):
        mouths += opened_rims(pieces[k], [pieces[j] for j in around[k]], what, notes)
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
    body = manifold3d.Manifold.batch_boolean([body, *mouths], manifold3d.OpType.Subtract)
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


def _turned(piece: Mesh, what: str) -> Doubt:
    """Return what is asked about a piece that was inside out where others were not."""
    size = " x ".join(f"{s:.3g}" for s in piece.size_mm)
    return Doubt(
        f"{what}: a piece of {size} mm about {at_mm(piece.bounds.mean(axis=0))} was inside out, "
        "and others were not: it is taken as solid material, turned. Is it meant so?"
    )


def _is_void(number: int, pieces: list[Piece], around: list[int]) -> bool:
    """Whether a piece, within the pieces `around` it, is a hollow rather than a body."""
    if len(around) % 2 == 0:
        return False
    nearest = min(around, key=lambda k: pieces[k].mesh.volume_mm3)
    return pieces[number].inside_out != pieces[nearest].inside_out


def _around(pieces: list[Piece]) -> list[list[int]]:
    """Return for each piece the numbers of the pieces it lies within.

    A hollow that breaks through the surface around it lies within it by most of its corners.
    """
    low = np.array([piece.mesh.bounds[0] for piece in pieces])
    high = np.array([piece.mesh.bounds[1] for piece in pieces])
    facing = np.array([piece.inside_out for piece in pieces])
    found: list[list[int]] = []
    for k, piece in enumerate(pieces):
        near = ((low <= low[k]) & (high >= high[k])).all(axis=1)
        near |= (facing != facing[k]) & ((low <= high[k]) & (high >= low[k])).all(axis=1)
        near[k] = False
        corners = piece.mesh.vertices[:: max(1, len(piece.mesh.vertices) // 64)]
        found.append([])
        for j in np.nonzero(near)[0].tolist():
            mesh, alike = pieces[j].mesh, facing[j] == facing[k]
            winding = winding_number(mesh.vertices, mesh.faces, corners)
            # On the surface itself it is one half: a hollow may end there.
            share = (winding > (0.5 if alike else 0.4)).mean()
            if share >= (1 if alike else MOST):
                found[-1].append(j)
    return found


def runs_through_itself(mesh: Mesh) -> FloatArray | None:
    """Return a place where the surface lies inside the body, or None if it does not.

    Just in front of a sound surface the winding number is 0 everywhere.
    """
    faces = np.arange(len(mesh.faces))
    if len(faces) > LOOKED_AT:
        faces = np.random.default_rng(0).choice(len(faces), LOOKED_AT, replace=False)
    place, area = mesh.centroids[faces], mesh.areas_mm2[faces]
    ahead = place + 1e-5 * float(mesh.size_mm.max()) * mesh.normals[faces]
    within = np.abs(winding_number(mesh.vertices, mesh.faces, ahead)) > 0.5
    if area[within].sum() <= THROUGH_ITSELF * area.sum():
        return None
    return np.asarray(place[within].mean(axis=0))
