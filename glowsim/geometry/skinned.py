"""A skin without thickness, as a scan or a sculpt leaves it, given a wall: a shell with its rims.

Each rim gets a lid, and a short collar beyond it; what that encloses is a body like any other,
whose wall is grown as that of any shell, and cut off again at the lid. So the rim comes out square
to the skin, and the hollow is open there.
"""

from __future__ import annotations

import igl
import manifold3d
import numpy as np

from glowsim.errors import GeometryError
from glowsim.geometry.holes import open_edges, rims
from glowsim.geometry.hollow import grown_mesh, hollow_mesh
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm, from_manifold, to_manifold
from glowsim.geometry.openings import WIDE, lid_over, width_mm
from glowsim.geometry.repair import without_rubbish

COLLAR = 3.0
"""Length of a collar over the wall."""
TURNED = 0.5
"""Least cosine between a lid's faces and the way its collar runs."""


def open_skin(vertices: FloatArray, faces: IntArray, what: str) -> Mesh | None:
    """Return the skin that a mesh is, facing away from its hollow; None for anything else.

    It is one where it hangs together, has no edge of more than two faces, and has at least one rim
    wider than a tenth of it.
    """
    clean, _ = without_rubbish(vertices, faces, what)
    corners, triangles = np.asarray(clean.vertices, float), np.asarray(clean.faces, np.int64)
    if len(open_edges(triangles)) == 0 or clean.body_count != 1:
        return None
    _, count = np.unique(clean.edges_sorted, axis=0, return_counts=True)
    if (count > 2).any():
        return None
    triangles, _ = igl.bfs_orient(triangles)
    triangles = np.asarray(triangles, np.int64)
    skin = Mesh.single_part(corners, triangles)
    if max(width_mm(corners[rim]) for rim in rims(triangles)) < WIDE * float(skin.size_mm.max()):
        return None
    if _closed(skin).volume_mm3 < 0:
        skin = Mesh.single_part(corners, triangles[:, ::-1])
    return skin


def shell_of_skin(skin: Mesh, wall_mm: float, grows: str, what: str) -> Mesh:
    """Return a skin with a wall, its rims closed: one closed surface.

    grows : 'inward', where the skin is the outside of the shell, or 'outward', where it is the
    inside. Raises GeometryError, with the place, for a rim that no lid fits or a wall that leaves
    no hollow.
    """
    edges = rims(skin.faces)
    longer = _with_collars(skin, COLLAR * wall_mm, what)
    if grows == "inward":
        inner, _ = hollow_mesh(longer, wall_mm, what)
        return from_manifold(to_manifold(_closed(skin), what) - to_manifold(inner, what))
    grown = to_manifold(grown_mesh(longer, wall_mm, what), what)
    # All that grew beyond the lids.
    caps = [_collar(skin, rim, (COLLAR + 2) * wall_mm, 2 * wall_mm, what) for rim in edges]
    return from_manifold(
        manifold3d.Manifold.batch_boolean(
            [grown, to_manifold(longer, what), *caps], manifold3d.OpType.Subtract
        )
    )


def _closed(skin: Mesh) -> Mesh:
    lids = [lid_over(skin.vertices, rim, skin.faces) for rim in rims(skin.faces)]
    return Mesh.single_part(skin.vertices, np.vstack([skin.faces, *lids]))


def _with_collars(skin: Mesh, reach_mm: float, what: str) -> Mesh:
    """Return a skin that runs on over each rim by `reach_mm`, closed there.

    It is sewn, not united from body and collars: those would meet in lids whose corners part by a
    rounding error, and what is left between them would pass for a gap.
    """
    corners, faces = [skin.vertices], [skin.faces]
    count = len(skin.vertices)
    for rim in rims(skin.faces):
        lid, way = _lid_and_way(skin, rim, what)
        moved = np.arange(len(skin.vertices))
        moved[rim] = count + np.arange(len(rim))
        count += len(rim)
        corners.append(skin.vertices[rim] + reach_mm * way)
        faces += [*_side(rim, moved), moved[lid]]
    return Mesh.single_part(np.vstack(corners), np.vstack(faces))


def _side(rim: IntArray, moved: IntArray) -> tuple[IntArray, IntArray]:
    """Return the triangles from a rim to where its corners are moved, (n, 3) int each."""
    after = np.roll(rim, -1)
    near = np.column_stack([after, rim, moved[rim]])
    return near, np.column_stack([after, moved[rim], moved[after]])


def _lid_and_way(skin: Mesh, rim: IntArray, what: str) -> tuple[IntArray, FloatArray]:
    """Return the lid of a rim, (n, 3) int, and the unit direction out through it, (3,) float."""
    lid = lid_over(skin.vertices, rim, skin.faces)
    cover = Mesh.single_part(skin.vertices, lid)
    way = (cover.normals * cover.areas_mm2[:, None]).sum(axis=0)
    way /= np.linalg.norm(way)
    if (cover.normals @ way)[cover.areas_mm2 > 0].min() < TURNED:
        raise GeometryError(
            f"{what}: the rim about {at_mm(skin.vertices[rim].mean(axis=0))} is too crooked to end "
            "a wall at; give the skin its thickness in the modelling program"
        )
    return lid, way


def _collar(
    skin: Mesh, rim: IntArray, reach_mm: float, wider_mm: float, what: str
) -> manifold3d.Manifold:
    """Return what lies between a lid and the same lid moved out, `wider_mm` beyond it sideways."""
    lid, way = _lid_and_way(skin, rim, what)
    corners = skin.vertices.copy()
    out = corners[rim] - corners[rim].mean(axis=0)
    out -= (out @ way)[:, None] * way
    corners[rim] += wider_mm * out / np.maximum(np.linalg.norm(out, axis=1), 1e-9)[:, None]
    count = len(corners)
    faces = np.vstack([lid[:, ::-1], lid + count, *_side(rim, np.arange(count) + count)])
    used, index = np.unique(faces, return_inverse=True)
    both = np.vstack([corners, corners + reach_mm * way])[used]
    prism = Mesh.single_part(both, index.reshape(-1, 3))
    if prism.volume_mm3 < 0:
        prism = Mesh.single_part(both, index.reshape(-1, 3)[:, ::-1])
    return to_manifold(prism, what)
