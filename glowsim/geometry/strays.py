"""What a scan leaves far from the body, or nowhere: corners that are no numbers, corners flung
away, loose scraps. They are left out before the size of a body is looked at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import Mesh
from glowsim.geometry.notes import Doubt

BoolArray = NDArray[np.bool_]

SCRAP_SHARE = 1e-3
"""Stray pieces of a smaller share of the surface are not looked at for the size of the body."""
FEW = 0.05
"""Share of the faces that may hang on corners that are nowhere."""
FLUNG = 20.0
"""A corner this many times farther from the middle than nine tenths of them is flung away."""


def without_strays(mesh: Mesh, name: str) -> tuple[Mesh, list[str]]:
    """Return a mesh without strays and without corners that no face has, and notes.

    Raises GeometryError where more than a few faces hang on corners that are no numbers.
    """
    notes: list[str] = []
    mesh = _without_nowhere(mesh, name, notes)
    mesh = _without_flung(mesh, name, notes)
    return _without_far_scraps(mesh, name, notes), notes


def _only(mesh: Mesh, chosen: BoolArray) -> Mesh:
    used, faces = np.unique(mesh.faces[chosen], return_inverse=True)
    return replace(
        mesh,
        vertices=mesh.vertices[used],
        faces=faces.reshape(-1, 3),
        part=mesh.part[chosen],
        uv=None if mesh.uv is None else mesh.uv[used],
        colours=None if mesh.colours is None else mesh.colours[used],
    )


def _without_nowhere(mesh: Mesh, name: str, notes: list[str]) -> Mesh:
    """Drop the few faces with a corner that is no number."""
    lost = np.any(~np.isfinite(mesh.vertices), axis=1, keepdims=True).ravel()
    hanging = np.any(lost[mesh.faces], axis=1, keepdims=True).ravel()
    if hanging.mean() > FEW:
        raise GeometryError(
            f"{name} holds coordinates that are not numbers, at {np.count_nonzero(hanging)} of its "
            f"{len(hanging)} faces; export it again"
        )
    if hanging.any():
        notes.append(_dropped(mesh, hanging, lost, name, "is no number"))
    return _only(mesh, ~hanging)


def _without_flung(mesh: Mesh, name: str, notes: list[str]) -> Mesh:
    """Drop the few faces that one corner draws out to a place far from all the others."""
    with np.errstate(over="ignore", invalid="ignore"):
        away = np.linalg.norm(mesh.vertices - np.median(mesh.vertices, axis=0), axis=1)
        lost: BoolArray = ~(away <= FLUNG * np.quantile(away, 0.9, method="higher"))
    on_it = lost[mesh.faces].sum(axis=1)
    # Where several such corners make a face, they are a piece of their own.
    if not on_it.any() or (on_it > 0).mean() > FEW or on_it.max() > 1:
        return mesh
    notes.append(_dropped(mesh, on_it > 0, lost, name, "lies far from all the others"))
    return _only(mesh, on_it == 0)


def _dropped(mesh: Mesh, faces: BoolArray, lost: BoolArray, name: str, why: str) -> Doubt:
    """Return what is asked about faces that are dropped for a lost corner of theirs."""
    corners = np.unique(mesh.faces[faces])
    kept = mesh.vertices[corners[~lost[corners]]]
    x, y, z = kept.mean(axis=0) if len(kept) else mesh.vertices[~lost].mean(axis=0)
    return Doubt(
        f"{name}: dropped {np.count_nonzero(faces)} faces of which a corner {why}, about "
        f"({x:.4g}, {y:.4g}, {z:.4g}) in the file's own unit. Is the body whole there?"
    )


def _without_far_scraps(mesh: Mesh, name: str, notes: list[str]) -> Mesh:
    """Drop pieces of next to no area that lie far from the rest, so that they set no scale."""
    vertices, faces = mesh.vertices, mesh.faces
    order = np.lexsort(vertices.T)
    other = (vertices[order[1:]] != vertices[order[:-1]]).any(axis=1)
    one = np.zeros(len(vertices), dtype=np.int64)
    one[order[1:]] = np.cumsum(other)
    corner = one[faces]
    links = np.vstack([corner[:, [0, 1]], corner[:, [1, 2]]]).T
    graph = coo_matrix((np.ones(links.shape[1]), links), shape=(len(vertices), len(vertices)))
    _, piece = connected_components(graph, directed=False)
    with np.errstate(over="ignore", invalid="ignore"):
        area = np.bincount(piece[corner[:, 0]], mesh.areas_mm2)
        main = area[piece[corner[:, 0]]] >= SCRAP_SHARE * area.sum()
        if main.all() or not mesh.areas_mm2[main].sum() > (1 - SCRAP_SHARE) * area.sum():
            return mesh
    low, high = vertices[faces[main]].min(axis=(0, 1)), vertices[faces[main]].max(axis=(0, 1))
    room = (high - low).max()
    off = (mesh.centroids < low - room) | (mesh.centroids > high + room)
    far = off.any(axis=1) & ~main
    if not far.any():
        return mesh
    notes.append(f"{name}: dropped {np.count_nonzero(far)} stray faces far from the rest")
    return _only(mesh, ~far)
