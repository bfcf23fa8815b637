"""The connected pieces of a broken surface, each closed and turned outward by itself."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import igl
import numpy as np
import trimesh

from glowsim.errors import GeometryError
from glowsim.geometry.holes import with_holes_closed
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm, directed_edges, to_manifold
from glowsim.geometry.rows import unique_rows
from glowsim.geometry.unzip import unzipped

SPECK_SHARE = 1e-4
"""A loose piece with less than this share of the surface is dropped."""
SCRAP_SHARE = 0.25
"""A surface with holes and more loose scraps than this share is not mended piece by piece."""
LOSE_SHARE = 0.02
"""Loose pieces that cannot be closed are dropped up to this share of the surface."""
KNOT_SHARE = 0.05
"""Faces around edges that do not pair are cut out of a piece up to this share of it."""


@dataclass(eq=False)
class Piece:
    """One connected piece: a closed, outward mesh, and how it came in the file."""

    mesh: Mesh
    inside_out: bool
    was_closed: bool
    notes: list[str] = field(default_factory=list)

    @property
    def is_flat(self) -> bool:
        """Whether the piece is a sheet, closed upon itself, that holds no volume."""
        return self.mesh.volume_mm3 < 1e-6 * float(self.mesh.areas_mm2.sum()) ** 1.5


def closed_pieces(mesh: trimesh.Trimesh, what: str) -> tuple[list[Piece], list[str]]:
    """Return the closed connected pieces and notes on what is none of them.

    Raises GeometryError where one is too broken.
    """
    groups = trimesh.graph.connected_components(
        mesh.face_adjacency, nodes=np.arange(len(mesh.faces))
    )
    area = [float(mesh.area_faces[group].sum()) for group in groups]
    whole = [
        len(group) >= 3 and size >= SPECK_SHARE * mesh.area
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
    notes = [
        f"{what}: dropped a loose scrap about {at_mm(place)}, which cannot be closed"
        for _, _, place in broken
    ]
    if dropped := len(groups) - len(bodies) - len(broken):
        notes.append(f"{what}: dropped {dropped} loose specks or sheets of surface")
    return bodies, notes


def _closed_piece(part: Any, what: str) -> Piece:
    """Return a connected part of a mesh, closed and turned outward.

    Where the faces around an edge cannot be paired, they are cut out, and what is open then is
    closed as a hole is, up to a small share of the surface.
    """
    knots = _knots(np.asarray(part.faces, np.int64))
    try:
        return _mended(part, knots, what)
    except GeometryError as fault:
        for touching in (2, 1):
            holds = np.isin(part.faces, knots).sum(axis=1) >= touching
            lost = float(part.area_faces[holds].sum())
            if not 0 < lost <= KNOT_SHARE * part.area:
                continue
            rest = part.submesh([np.flatnonzero(~holds)], append=True, repair=False)
            note = (
                f"{what}: cut out {np.count_nonzero(holds)} faces about "
                f"{at_mm(_middle(part.vertices[knots]))} that could not be paired"
            )
            try:
                piece = _mended(rest, np.zeros((0, 2), np.int64), what)
            except GeometryError:
                continue
            return replace(piece, was_closed=False, notes=[note, *piece.notes])
        raise fault


def _mended(part: Any, knots: IntArray, what: str) -> Piece:
    """Return a part of a mesh, closed and turned outward; `knots`, (k, 2) int, are the edges of
    more than two faces. Raises GeometryError, with the place, where that does not close it."""
    notes = []
    if len(knots):
        apart = unzipped(np.asarray(part.vertices, float), np.asarray(part.faces, np.int64))
        notes.append(
            f"{what}: parted {len(knots)} edges that joined more than two faces, about "
            f"{at_mm(_middle(part.vertices[knots]))}"
        )
        part = trimesh.Trimesh(*apart, process=False)
    faces = read = np.asarray(part.faces, np.int64)
    if not part.is_winding_consistent:
        faces, _ = igl.bfs_orient(faces)
        notes.append(f"{what}: turned faces that pointed the wrong way")
    turned = (faces != read).any(axis=1)
    mostly_turned = float(part.area_faces[turned].sum()) > 0.5 * float(part.area)
    vertices, faces, closed = with_holes_closed(
        np.asarray(part.vertices, float), faces, float(part.scale), what
    )
    mesh = Mesh.single_part(vertices, faces)
    inside_out = mesh.volume_mm3 < 0
    if inside_out:
        mesh = Mesh.single_part(vertices, faces[:, ::-1])
    try:
        to_manifold(mesh, what)
    except GeometryError as fault:
        _refuse_open(vertices, faces, what)
        raise fault
    # It came as most of its faces lay.
    return Piece(mesh, inside_out != mostly_turned, not closed, notes + closed)


def _knots(faces: IntArray) -> IntArray:
    """Return the edges of more than two faces, (k, 2) int."""
    directed = directed_edges(faces)
    count = int(faces.max()) + 1
    number, times = np.unique(
        directed.min(axis=1) * count + directed.max(axis=1), return_counts=True
    )
    return np.column_stack(np.divmod(number[times > 2], count))


def _refuse_open(vertices: FloatArray, faces: IntArray, what: str) -> None:
    """Raise GeometryError at the edges that faces do not run along as often one way as back."""
    directed = directed_edges(faces)
    first, edge = unique_rows(np.sort(directed, axis=1))
    ends = directed[first]
    run = np.where(directed[:, 0] < directed[:, 1], 1, -1)
    odd = np.bincount(edge, run) != 0
    if odd.any():
        raise GeometryError(
            f"{what}: its surface cannot be closed about {at_mm(_middle(vertices[ends[odd]]))}, "
            f"where the faces at {np.count_nonzero(odd)} edges do not pair; merge doubled corners "
            "there, or take the faces out and fill the hole, in the modelling program"
        )


def _middle(points: FloatArray) -> FloatArray:
    return np.asarray(points.reshape(-1, 3).mean(axis=0))
