"""Shells that are open to the room: their hollow, and the openings that it ends at.

A printed mask, a bowl or a vase is one closed surface. Its hollow is made a region of its own by
a lid over every opening: a surface that is not there, which light passes and never comes back
through. A lid reaches as far out as the rim allows, so that what leaves by it meets nothing more
of the same hollow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull, QhullError

from glowsim.errors import GeometryError
from glowsim.geometry.holes import cover, rims
from glowsim.geometry.inside import winding_number
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm, directed_edges, to_manifold
from glowsim.geometry.notes import OpenHollow
from glowsim.geometry.skins import neighbours, skins_of, weighted_median

FLAT = 1e-3
"""A rim that leaves its plane by less than this share of its width is flat."""
CUTS = 0.005
"""A lid may cut off this share of the body's own material."""
LID = "opening "
"""Names of lids begin so."""
WIDE = 0.1
"""From this share of the body on, an opening is wide."""


@dataclass(frozen=True)
class Opening:
    """Where a hollow is open to the room.

    name     : of the part of the outer surface that is its lid
    place_mm : (3,) float, its middle;  width_mm : its greatest extent;  area_mm2 : of its lid
    """

    name: str
    place_mm: FloatArray
    width_mm: float
    area_mm2: float


@dataclass(frozen=True)
class OpenShell:
    """A shell whose hollow is open to the room.

    outer    : its outer skin with a lid over every opening, a part of its own each
    hollow   : its inner skin with the same lids, facing outward
    wall_mm  : how thick it is, half of it thinner
    openings : the widest first
    """

    outer: Mesh
    hollow: Mesh
    wall_mm: float
    openings: tuple[Opening, ...]


def outside_of(mesh: Mesh, points: FloatArray) -> np.ndarray:
    """Return which points lie outside a closed surface, (n,) bool."""
    return winding_number(mesh.vertices, mesh.faces, points) < 0.5


@dataclass(frozen=True)
class _Piece:
    """A connected piece of inner skin: its faces, (m,) bool, its rims with their lids, and what
    they close, facing inward, (n, 3) int."""

    faces: np.ndarray
    lids: tuple[tuple[IntArray, IntArray], ...]
    closed: IntArray


class Hollows:
    """The hollows of a closed surface that are open to the room, whether lights are in them or not.

    inner : (m,) bool, faces of its inner skin

    Any number of threads may ask once it is made.
    """

    def __init__(self, mesh: Mesh) -> None:
        """Tell the inner skin of `mesh` from its outer one, and lay lids over the rims."""
        self._mesh = mesh
        skins = skins_of(mesh)
        self.inner = skins.inner
        self._thickness_mm = skins.thickness_mm
        self._pieces = [_piece(mesh, faces) for faces in _pieces(mesh, skins.inner)]

    def around(self, points: FloatArray, what: str) -> OpenShell | None:
        """Return the shell whose hollow holds some of `points`, (n, 3) float [mm]; None for none.

        Hollows that hold none of them stay dents of the outside. Raises GeometryError, with the
        place, for an opening that no lid fits.
        """
        mesh = self._mesh
        held = [
            piece
            for piece in self._pieces
            if (winding_number(mesh.vertices, piece.closed[:, ::-1], points) > 0.5).any()
        ]
        if not held:
            return None
        chosen = np.any([piece.faces for piece in held], axis=0)
        lids = [lid for piece in held for lid in piece.lids]
        lids.sort(key=lambda lid: -width_mm(mesh.vertices[lid[0]]))
        outer, hollow = _assembled(mesh, chosen, lids)
        wall = weighted_median(self._thickness_mm[chosen], mesh.areas_mm2[chosen])
        _refuse_cut(mesh, hollow, lids, what)
        return OpenShell(outer, hollow, wall, tuple(_openings(mesh, lids)))


def _piece(mesh: Mesh, faces: np.ndarray) -> _Piece:
    skin = mesh.faces[faces]
    lids = [(loop, lid_over(mesh.vertices, loop, skin)) for loop in rims(skin)]
    return _Piece(faces, tuple(lids), np.vstack([skin, *(lid for _, lid in lids)]))


def _pieces(mesh: Mesh, inner: np.ndarray) -> Iterator[np.ndarray]:
    """Yield the connected pieces of the inner skin, (m,) bool each, the largest first."""
    pair, _ = neighbours(mesh.faces)
    pair = pair[inner[pair].all(axis=1)]
    count = len(mesh.faces)
    graph = sparse.csr_matrix((np.ones(len(pair)), (pair[:, 0], pair[:, 1])), shape=(count, count))
    _, piece = connected_components(graph, directed=False)
    area = np.bincount(piece, mesh.areas_mm2 * inner)
    for number in np.argsort(-area):
        if area[number] > 0:
            yield (piece == number) & inner


def width_mm(points: FloatArray) -> float:
    """Return the greatest extent of points along the axes of their own spread [mm]."""
    centred = points - points.mean(axis=0)
    axes = np.linalg.svd(centred, full_matrices=False)[2]
    return float(np.ptp(centred @ axes.T, axis=0).max())


def lid_over(vertices: FloatArray, loop: IntArray, skin: IntArray) -> IntArray:
    """Return a lid over a rim, (n, 3) int, that turns the way `skin` needs to be closed by it."""
    rim = vertices[loop]
    centred = rim - rim.mean(axis=0)
    spread = np.linalg.svd(centred, full_matrices=False)[2]
    flat = cover(centred @ spread[:2].T)
    whole = len(flat) == len(loop) - 2
    if whole and np.abs(centred @ spread[2]).max() <= FLAT * width_mm(rim):
        return loop[flat][:, ::-1]
    choices = [loop[disc] for disc in _hull_discs(rim)]
    if whole:
        choices.append(loop[flat][:, ::-1])
    if not choices:
        # A rim that no plane shows without a crossing: triangles from its first corner.
        fan = np.column_stack([np.zeros(len(loop) - 2, np.int64), *_next_two(len(loop))])
        choices.append(loop[fan][:, ::-1])
    return max(choices, key=lambda lid: _hollow_mm3(vertices, np.vstack([skin, lid])))


def _next_two(count: int) -> tuple[IntArray, IntArray]:
    return np.arange(1, count - 1), np.arange(2, count)


def _hollow_mm3(vertices: FloatArray, faces: IntArray) -> float:
    """Return the volume inside a surface that faces inward, up to what other rims leave open."""
    return -Mesh.single_part(vertices - vertices.mean(axis=0), faces).volume_mm3


def _hull_discs(rim: FloatArray) -> list[IntArray]:
    """Return the two sides of a rim's convex hull, (n, 3) int each, running against the rim; none
    if not all of the rim lies on the hull."""
    try:
        hull = ConvexHull(rim)
    except QhullError:
        return []
    faces = hull.simplices.astype(np.int64)
    corner = rim[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    inverted = np.einsum("md,md->m", normal, hull.equations[:, :3]) < 0
    faces[inverted] = faces[inverted][:, ::-1]
    count = len(rim)
    step = {(k, (k + 1) % count) for k in range(count)}
    directed = directed_edges(faces)
    if not step <= {tuple(edge) for edge in directed.tolist()}:
        return []
    pair, ends = neighbours(faces)
    on_rim = np.isin(np.abs(ends[:, 1] - ends[:, 0]), (1, count - 1))
    joined = pair[~on_rim]
    graph = sparse.csr_matrix(
        (np.ones(len(joined)), (joined[:, 0], joined[:, 1])), shape=(len(faces),) * 2
    )
    number, side = connected_components(graph, directed=False)
    if number != 2:
        return []
    discs = []
    for which in range(2):
        disc = faces[side == which]
        edges = {(a, b) for t in disc.tolist() for a, b in zip(t, (*t[1:], t[0]), strict=True)}
        discs.append(disc[:, ::-1] if (0, 1) in edges else disc)
    return discs


def _assembled(
    mesh: Mesh, inner: np.ndarray, lids: list[tuple[IntArray, IntArray]]
) -> tuple[Mesh, Mesh]:
    """Return outer skin and hollow, each closed by the lids."""
    covers = [lid for _, lid in lids]
    skin, hollow = mesh.faces[~inner], np.vstack([mesh.faces[inner], *covers])[:, ::-1]
    faces = np.vstack([skin, *(lid[:, ::-1] for lid in covers)])
    names = list(mesh.part_names)
    numbers = [np.full(len(lid), len(names) + k) for k, lid in enumerate(covers)]
    part = np.concatenate([mesh.part[~inner], *numbers])
    names += [_name(k) for k in range(len(covers))]
    return _tidy(mesh.vertices, faces, part, tuple(names)), _tidy(
        mesh.vertices, hollow, np.zeros(len(hollow), np.int64), ("surface",)
    )


def _tidy(vertices: FloatArray, faces: IntArray, part: IntArray, names: tuple[str, ...]) -> Mesh:
    used, index = np.unique(faces, return_inverse=True)
    return Mesh(vertices[used], index.reshape(-1, 3).astype(np.int64), part, names)


def is_opening(part: str) -> bool:
    """Whether a part of a surface by this name is the lid over an opening."""
    return part.startswith(LID)


def _name(number: int) -> str:
    return f"{LID}{number + 1}"


def _openings(mesh: Mesh, lids: list[tuple[IntArray, IntArray]]) -> Iterator[Opening]:
    for number, (loop, lid) in enumerate(lids):
        cap = Mesh.single_part(mesh.vertices, lid)
        area = float(cap.areas_mm2.sum())
        place = np.average(cap.centroids, axis=0, weights=np.maximum(cap.areas_mm2, 1e-30))
        yield Opening(_name(number), place, width_mm(mesh.vertices[loop]), area)


def _refuse_cut(mesh: Mesh, hollow: Mesh, lids: list[tuple[IntArray, IntArray]], what: str) -> None:
    """Raise GeometryError if lids cut through the shell itself."""
    widest = mesh.vertices[lids[0][0]].mean(axis=0) if lids else mesh.centroids[0]
    body = to_manifold(mesh, what)
    try:
        common = body ^ to_manifold(hollow, f"{what}: its hollow")
    except GeometryError:
        share = 1.0
    else:
        share = common.volume() / body.volume()
    if share > CUTS:
        raise GeometryError(
            f"{what}: the opening about {at_mm(widest)} has so crooked a rim that no lid fits over "
            "it without cutting into the shell; close it in the modelling program with the surface "
            "that light leaves by, or give the body as a closed outer skin with wall_mm"
        )


def notes_on_openings(mesh: Mesh, shell: OpenShell, what: str) -> tuple[str, ...]:
    """Return what is to say of a shell's openings: wide ones are to be looked at."""
    body_mm = float(mesh.size_mm.max())
    said: list[str] = []
    for opening in shell.openings:
        text = (
            f"the hollow of '{what}' that its lights stand in is open to the room at "
            f"'{opening.name}', {opening.width_mm:.3g} mm wide about {at_mm(opening.place_mm)}"
        )
        if opening.width_mm < WIDE * body_mm:
            said.append(text)
        else:
            lost = "most light that leaves there is lost"
            said.append(OpenHollow(f"{text}: {lost}. Is it meant to be open?"))
    return tuple(said)
