"""Lines engraved into a surface: its faces cut along their edges, and which lie within."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.mesh import FloatArray, IntArray

Line = Sequence[Sequence[float]] | FloatArray
"""Its points, (k, 3) [mm]."""
BESIDE = 1.5
"""Faces are cut along the edges of a line as far as this many half widths from its middle."""
NEAR_CORNER = 0.2
"""A corner is drawn onto a cut that meets an edge nearer to it than this share of the edge."""
FLAT = 0.9999
"""Cosine of the angle between faces that lie flat."""
NEAR_END = 1e-3
"""A cut that meets an edge nearer to its end than this share of it is left out: no slivers."""


def along_line_mm(points: FloatArray, line_mm: Line) -> FloatArray:
    """Return the distance of points, (n, 3), from a line through the points given, (n,) [mm]."""
    corners = np.asarray(line_mm, dtype=float)
    nearest = np.full(len(points), np.inf)
    for start, end in pairwise(corners):
        way = end - start
        share = np.clip((points - start) @ way / max(float(way @ way), 1e-12), 0.0, 1.0)
        away = np.linalg.norm(points - start - share[:, None] * way, axis=1)
        np.minimum(nearest, away, out=nearest)
    return nearest


def cut_along_line(
    vertices: FloatArray, faces: IntArray, line_mm: Line, width_mm: float
) -> tuple[FloatArray, IntArray, IntArray]:
    """Return a surface with its faces cut along both edges and the ends of a line on it.

    Also returns which face each was, (m,) int. Edges are cut once for the faces on both sides, so
    that the surface stays as closed as it was.
    """
    was = np.arange(len(faces))
    corners = np.asarray(line_mm, dtype=float)
    for start, end in pairwise(corners):
        length = float(np.linalg.norm(end - start))
        along = (end - start) / max(length, 1e-12)
        for normal, offsets in _planes(vertices, faces, start, end, along, width_mm):
            for offset in offsets:
                vertices, faces, mine = _cut(
                    vertices, faces, normal, offset, np.stack([start, end]), BESIDE * width_mm / 2
                )
                was = was[mine]
    return vertices, faces, was


def _planes(
    vertices: FloatArray,
    faces: IntArray,
    start: FloatArray,
    end: FloatArray,
    along: FloatArray,
    width_mm: float,
) -> list[tuple[FloatArray, tuple[float, float]]]:
    """Return the planes that bound a stretch of line: across the surface, and at its ends."""
    middle = (start + end) / 2
    nearest = np.linalg.norm(vertices[faces].mean(axis=1) - middle, axis=1).argmin()
    a, b, c = vertices[faces[nearest]]
    across = np.cross(np.cross(b - a, c - a), along)
    size = float(np.linalg.norm(across))
    ends = (float(along @ start) - width_mm / 2, float(along @ end) + width_mm / 2)
    if size < 1e-12:
        return [(along, ends)]
    across /= size
    level = float(across @ middle)
    return [(across, (level - width_mm / 2, level + width_mm / 2)), (along, ends)]


def _cut(
    vertices: FloatArray,
    faces: IntArray,
    normal: FloatArray,
    offset: float,
    line: FloatArray,
    reach_mm: float,
) -> tuple[FloatArray, IntArray, IntArray]:
    """Cut faces along a plane where it is near a line; also return which face each was."""
    edges = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2)
    unique, edge = np.unique(edges.reshape(-1, 2), axis=0, return_inverse=True)
    edge = edge.reshape(-1, 3)
    crossed, share, points = _crossings(vertices, unique, normal, offset, line, reach_mm)
    vertices = _drawn_near(vertices, faces, unique[crossed], share[crossed], points[crossed])
    crossed, _, points = _crossings(vertices, unique, normal, offset, line, reach_mm)
    number = np.full(len(unique), -1)
    number[crossed] = len(vertices) + np.arange(np.count_nonzero(crossed))
    return (np.concatenate([vertices, points[crossed]]), *_divided(faces, number[edge]))


def _crossings(
    vertices: FloatArray,
    edges: IntArray,
    normal: FloatArray,
    offset: float,
    line: FloatArray,
    reach_mm: float,
) -> tuple[NDArray[np.bool_], FloatArray, FloatArray]:
    """Return which edges, (k, 2), a plane crosses near a line, at which share of each and where."""
    one, other = vertices[edges[:, 0]], vertices[edges[:, 1]]
    low, high = one @ normal - offset, other @ normal - offset
    share = low / np.where(low == high, 1.0, low - high)
    points = one + share[:, None] * (other - one)
    crossed = (low * high < 0) & (share > NEAR_END) & (share < 1 - NEAR_END)
    return crossed & (along_line_mm(points, line) <= reach_mm), share, points


def _drawn_near(
    vertices: FloatArray, faces: IntArray, edges: IntArray, share: FloatArray, points: FloatArray
) -> FloatArray:
    """Return corners drawn onto a plane that crosses an edge close to them, where the surface
    about them is flat: so that no slivers are cut off."""
    near = np.minimum(share, 1 - share) < NEAR_CORNER
    corner = np.where(share < 0.5, edges[:, 0], edges[:, 1])[near]
    moved = vertices.copy()
    moved[corner] = points[near]
    before, after = _normals(vertices[faces]), _normals(moved[faces])
    total = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(total, faces[:, k], before)
    total /= np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]
    # A corner of faces that do not lie flat, or one whose move turns a face over, stays.
    bent = np.einsum("md,mkd->mk", before, total[faces]).min(axis=1) < FLAT
    stays = faces[bent | (np.einsum("md,md->m", before, after) < FLAT)]
    moved[stays] = vertices[stays]
    turned = np.einsum("md,md->m", before, _normals(moved[faces])) < FLAT
    return vertices if turned.any() else moved


def _normals(triangles: FloatArray) -> FloatArray:
    """Return the unit normals of triangles, (m, 3, 3), (m, 3)."""
    a, b, c = np.moveaxis(triangles, 1, 0)
    cross = np.cross(b - a, c - a)
    return np.asarray(cross / np.maximum(np.linalg.norm(cross, axis=1), 1e-30)[:, None])


def _divided(faces: IntArray, new: IntArray) -> tuple[IntArray, IntArray]:
    """Return faces with points set into their edges, and which face each was.

    new : (m, 3) int, the point set into the edge after each corner, -1 where there is none
    """
    out, was = [], []
    count = (new >= 0).sum(axis=1)
    whole = np.nonzero(count == 0)[0]
    out.append(faces[whole])
    was.append(whole)
    for k in range(3):
        turned, points = np.roll(faces, -k, axis=1), np.roll(new, -k, axis=1)
        a, b, c = turned.T
        one = np.nonzero((count == 1) & (points[:, 0] >= 0))[0]
        p = points[:, 0]
        for piece in ((a, p, c), (p, b, c)):
            out.append(np.column_stack(piece)[one])
            was.append(one)
        # Two edges: the corner between them is cut off, the rest parted.
        two = np.nonzero((count == 2) & (points[:, 1] < 0))[0]
        q = points[:, 2]
        for piece in ((a, p, q), (p, b, c), (p, c, q)):
            out.append(np.column_stack(piece)[two])
            was.append(two)
        three = np.nonzero((count == 3) & (k == 0))[0]
        r = points[:, 1]
        for piece in ((a, p, q), (p, b, r), (q, r, c), (p, r, q)):
            out.append(np.column_stack(piece)[three])
            was.append(three)
    return np.concatenate(out), np.concatenate(was)
