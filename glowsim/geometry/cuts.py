"""A surface's faces cut where a region of it ends: at a height, around a ball, along a picture.

Edges are cut once for the faces on both sides, so that a surface stays as closed as it was.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rows import unique_rows

BoolArray = NDArray[np.bool_]
Level = Callable[[FloatArray], FloatArray]
"""How far points, (n, 3) [mm], lie beyond a limit, (n,) [mm]: 0 on it, less than 0 within."""
NEAR_CORNER = 0.2
"""A corner is drawn onto a cut that meets an edge nearer to it than this share of the edge."""
FLAT = 0.9999
"""Cosine of the angle by which a face may turn when its corners are drawn onto a cut."""
NEAR_END = 1e-3
"""A cut that meets an edge nearer to its end than this share of it is left out: no slivers."""
HALVINGS = 14
"""How often the place is halved in which a bent limit crosses an edge."""
FINER = 20
"""How often faces are made finer at most: each time their edges come down to half."""
BALL_SHARE = 1 / 8
"""Edge of the faces along a ball's limit, over its radius: the chords across them leave 1e-3 of a
disc's area out."""


@dataclass(frozen=True)
class Limit:
    """Where a region of a surface ends.

    beyond  : how far points lie beyond it; no farther than they are from it
    edge_mm : of a limit that bends across faces, how fine the faces along it are made first
    """

    beyond: Level
    edge_mm: float | None = None


def height(level_mm: float) -> Limit:
    """Return the limit at a height: what is above lies beyond it."""
    return Limit(lambda points: points[:, 2] - level_mm)


def ball(centre_mm: Sequence[float], radius_mm: float) -> Limit:
    """Return the limit of a ball: what is outside lies beyond it."""
    centre = np.asarray(centre_mm, dtype=float)
    return Limit(
        lambda points: np.linalg.norm(points - centre, axis=1) - radius_mm, BALL_SHARE * radius_mm
    )


@dataclass(frozen=True)
class Surface:
    """A surface being cut.

    vertices : (n, 3) float [mm];  faces : (m, 3) int;  was : (m,) int, the face each was at first
    fixed    : (n,) bool, corners on a cut: no later one draws them off it
    """

    vertices: FloatArray
    faces: IntArray
    was: IntArray
    fixed: BoolArray

    @classmethod
    def of(cls, vertices: FloatArray, faces: IntArray) -> Surface:
        """Return a surface that is not cut yet."""
        return cls(vertices, faces, np.arange(len(faces)), np.zeros(len(vertices), dtype=bool))

    def _with(self, points: FloatArray, edges: BoolArray, edge: IntArray, fixed: bool) -> Surface:
        """Return it with points, (p, 3), set into some of its edges, faces divided there.

        edges : (k,) bool;  edge : (m, 3) int, that after each corner
        """
        number = np.full(len(edges), -1)
        number[edges] = len(self.vertices) + np.arange(len(points))
        faces, mine = _divided(self.faces, number[edge])
        return Surface(
            np.concatenate([self.vertices, points]),
            faces,
            self.was[mine],
            np.concatenate([self.fixed, np.full(len(points), fixed)]),
        )


def cut_at(surface: Surface, limit: Limit, chosen: BoolArray | None = None) -> Surface:
    """Return a surface with its faces cut at a limit.

    chosen : (f,) bool, which of the faces there were at first are cut; left out, all
    """
    chosen = np.ones(surface.was.max(initial=-1) + 1, dtype=bool) if chosen is None else chosen
    if limit.edge_mm is not None:
        surface = _made_fine(surface, limit.beyond, limit.edge_mm, chosen)
    ends = limit.beyond(surface.vertices)[surface.faces]
    across = (ends.min(axis=1) < 0) & (ends.max(axis=1) > 0)
    if not (across & chosen[surface.was]).any():
        return surface
    return cut(surface, limit.beyond, chosen=chosen[surface.was], bent=limit.edge_mm is not None)


def _made_fine(surface: Surface, beyond: Level, edge_mm: float, chosen: BoolArray) -> Surface:
    """Return a surface whose chosen faces that a limit may cross have no edge longer than asked."""
    for _ in range(FINER):
        corners = surface.vertices[surface.faces]
        lengths = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        coarse = np.nonzero(chosen[surface.was] & (lengths.max(axis=1) > edge_mm))[0]
        middle = corners[coarse].mean(axis=1)
        reach = np.linalg.norm(corners[coarse] - middle[:, None], axis=2).max(axis=1)
        near = coarse[np.abs(beyond(middle)) <= reach]
        if len(near) == 0:
            break
        unique, edge = _edges(surface.faces)
        long = np.zeros(len(unique), dtype=bool)
        long[edge[near][lengths[near] > edge_mm]] = True
        middles = surface.vertices[unique[long]].mean(axis=1)
        surface = surface._with(middles, long, edge, fixed=False)
    return surface


def _edges(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return the edges of faces, (k, 2), and the number of that after each corner, (m, 3)."""
    edges = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2)
    edges = edges.reshape(-1, 2)
    first, edge = unique_rows(edges)
    return edges[first], edge.reshape(-1, 3)


def cut(
    surface: Surface,
    level: Level,
    *,
    chosen: BoolArray | None = None,
    near: Callable[[FloatArray], BoolArray] | None = None,
    bent: bool = False,
) -> Surface:
    """Return a surface with its faces cut where a level is 0.

    chosen : (m,) bool, the faces that are cut;  near : which points it is cut at
    bent   : the level does not change evenly along an edge
    """
    unique, edge = _edges(surface.faces)
    allowed = np.ones(len(unique), dtype=bool)
    if chosen is not None:
        allowed[:] = False
        allowed[edge[chosen]] = True

    def crossings(vertices: FloatArray) -> tuple[BoolArray, FloatArray, FloatArray]:
        crossed, share, places = _crossings(vertices, unique, level, bent)
        crossed &= allowed
        if near is not None:
            crossed &= near(places)
        return crossed, share, places

    crossed, share, places = crossings(surface.vertices)
    surface = _drawn_near(surface, unique[crossed], share[crossed], places[crossed])
    crossed, _, places = crossings(surface.vertices)
    return surface._with(places[crossed], crossed, edge, fixed=True)


def _crossings(
    vertices: FloatArray, edges: IntArray, level: Level, bent: bool
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Return which edges, (k, 2), a level of 0 crosses, at which share of each and where."""
    beyond = level(vertices)
    low, high = beyond[edges[:, 0]], beyond[edges[:, 1]]
    share = low / np.where(low == high, 1.0, low - high)
    crossed = low * high < 0
    one, way = vertices[edges[:, 0]], vertices[edges[:, 1]] - vertices[edges[:, 0]]
    if bent:
        mine = np.nonzero(crossed)[0]
        first, last = np.zeros(len(mine)), np.ones(len(mine))
        for _ in range(HALVINGS):
            half = (first + last) / 2
            before = level(one[mine] + half[:, None] * way[mine]) * low[mine] > 0
            first, last = np.where(before, half, first), np.where(before, last, half)
        share[mine] = (first + last) / 2
    crossed &= (share > NEAR_END) & (share < 1 - NEAR_END)
    return crossed, share, one + share[:, None] * way


def _drawn_near(
    surface: Surface, edges: IntArray, share: FloatArray, points: FloatArray
) -> Surface:
    """Return a surface with corners drawn onto a cut that crosses an edge close to them, where
    that leaves it as it is: so that no slivers are cut off."""
    faces = surface.faces
    corner = np.where(share < 0.5, edges[:, 0], edges[:, 1])
    near = (np.minimum(share, 1 - share) < NEAR_CORNER) & ~surface.fixed[corner]
    moved = surface.vertices.copy()
    moved[corner[near]] = points[near]
    before = _normals(surface.vertices[faces])
    # A corner whose move would turn a face stays: it may slide along a crease, not off the surface.
    stays = faces[np.einsum("md,md->m", before, _normals(moved[faces])) < FLAT]
    moved[stays] = surface.vertices[stays]
    turned = np.einsum("md,md->m", before, _normals(moved[faces])) < FLAT
    if turned.any():
        return surface
    drawn = surface.fixed | (moved != surface.vertices).any(axis=1)
    return replace(surface, vertices=moved, fixed=drawn)


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
