"""Paths along an edge of a body: the rim of an opening, a region's border, a sharp edge.

Each is a border of some piece of surface: of the inside wall, of a region, of the stretch that runs
on smoothly about a point. The path lies on that piece, everywhere as far from the border as is
asked, straight across, and then as deep below it (or off it, into a hollow).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from glowsim.errors import GeometryError
from glowsim.geometry.body import Solid
from glowsim.geometry.borders import weights_on
from glowsim.geometry.creases import smooth_corners, smooth_pieces
from glowsim.geometry.curves import is_closed, lengths_along, points_along, unit
from glowsim.geometry.cuts import BoolArray, Limit, Surface, cut_at
from glowsim.geometry.holes import rims
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.kept import Kept
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, at_mm
from glowsim.geometry.where import cut_out, region_on
from glowsim.scene import Body
from glowsim.scene.paths import PathAlong

STEP_MM = 6.0
"""Between the points of a path along an edge, so that the facets of its mesh are no bends."""
LOOK_MM = 1.0
"""Between points at which corners of a path are looked for."""
CORNER_STEPS, CORNER_DEG = 2, 40.0
"""An edge that turns by more, over so many steps before and behind, has a corner there."""
SAME = 0.02
"""Share of its distance from the edge by which a line is off that and still lies along it."""
JOIN_MM = 1e-3
_MADE_LAST: Kept[tuple[FloatArray, Mesh]] = Kept(16)
"""Paths made last: a search asks for the same ones over and over. Shared: not to be changed."""


@dataclass(frozen=True)
class Bordered:
    """A piece of a body's surface that ends at the edge a path follows.

    borders : its rims, each (n,) int, corners in the order that has the piece to the left
    """

    mesh: Mesh
    borders: tuple[IntArray, ...]

    @classmethod
    def of(cls, mesh: Mesh, faces: BoolArray) -> Bordered:
        """Return some of the faces of a mesh."""
        piece = Mesh.single_part(mesh.vertices, mesh.faces[faces])
        return cls(piece, tuple(rims(piece.faces)))

    def normals_at(self, points: FloatArray) -> FloatArray:
        """Return the way off the surface next to points, even between its corners, (n, 3) unit."""
        at_corners = np.zeros_like(self.mesh.vertices)
        weighted = self.mesh.normals * self.mesh.areas_mm2[:, None]
        for k in range(3):
            np.add.at(at_corners, self.mesh.faces[:, k], weighted)
        face, weight = weights_on(self.mesh, points)
        ways = np.einsum("nk,nkd->nd", weight, unit(at_corners)[self.mesh.faces[face]])
        return unit(ways)


def path_along(
    solid: Solid, body: Body, folder: Path, wanted: PathAlong, usual_mm: float
) -> tuple[FloatArray, Mesh]:
    """Return the line of LEDs' faces along an edge, (n, 3) float [mm], and the piece of surface
    that ends there.

    usual_mm : how far off the inside wall, where the scene does not say
    Raises GeometryError, with what there is, where there is no such edge.
    """

    def made() -> tuple[FloatArray, Mesh]:
        return _made(solid, body, folder, wanted, usual_mm)

    of = wanted.of
    if of is not None and (of.picture or of.colour):
        return made()  # it goes by a file that may have changed
    key = (_digest(solid.outer), _digest(solid.hollow), body.name, wanted.model_dump_json())
    return _MADE_LAST.get((*key, usual_mm), made)


def _digest(mesh: Mesh | None) -> str:
    if mesh is None:
        return ""
    content = hashlib.sha256("/".join(mesh.part_names).encode())
    for values in (mesh.vertices, mesh.faces, mesh.part):
        content.update(np.ascontiguousarray(values).tobytes())
    return content.hexdigest()


def _made(
    solid: Solid, body: Body, folder: Path, wanted: PathAlong, usual_mm: float
) -> tuple[FloatArray, Mesh]:
    patch = _patch(solid, body, folder, wanted)
    line = _evened(_stretch(_line(patch, wanted), wanted))
    into = 1.0 if wanted.edge == "rim" else -1.0
    depth = usual_mm if wanted.depth_mm is None else wanted.depth_mm
    off = line + into * depth * patch.normals_at(line)
    if is_closed(line, JOIN_MM):
        off[-1] = off[0]
    return off, patch.mesh


def _patch(solid: Solid, body: Body, folder: Path, wanted: PathAlong) -> Bordered:
    if wanted.edge == "rim":
        return _inside_wall(solid, body.name)
    if wanted.edge == "border":
        return _region(solid.outer, body, folder, wanted)
    assert wanted.near_mm is not None, "the scene makes sure of a point by a sharp edge"
    return _smooth_about(solid.outer, np.asarray(wanted.near_mm, dtype=float))


def _inside_wall(solid: Solid, name: str) -> Bordered:
    wall = solid.inside_wall
    patch = None if wall is None else Bordered.of(wall, np.ones(len(wall.faces), dtype=bool))
    if patch is None or not patch.borders:
        what = "is no shell" if wall is None else "is closed all round"
        raise GeometryError(
            f"'{name}' {what}, so it has no rim; edge = \"border\" follows a region of its "
            'surface, edge = "sharp" an edge of it'
        )
    return patch


def _region(outer: Mesh, body: Body, folder: Path, wanted: PathAlong) -> Bordered:
    where = wanted.of
    assert where is not None, "the scene makes sure of a region"
    mesh, held = cut_out(outer, region_on(outer, where, folder, body.mesh))
    patch = Bordered.of(mesh, held)
    if not patch.borders:
        what = "all" if held.any() else "nothing"
        raise GeometryError(f"the region (of) covers {what} of '{body.name}', so it has no border")
    return patch


def _smooth_about(outer: Mesh, point: FloatArray) -> Bordered:
    """Return the stretch of a surface that runs on smoothly about a point."""
    _, nearest, (face,) = nearest_on(outer, point[None])
    corner, count = smooth_corners(outer, np.zeros(len(outer.faces), dtype=np.int64))
    piece = smooth_pieces(corner, count)
    # Each smooth piece gets corners of its own, so that sharp edges are its borders.
    place = np.zeros((count, 3))
    place[corner.ravel()] = outer.vertices[outer.faces.ravel()]
    patch = Bordered.of(Mesh.single_part(place, corner), piece == piece[face])
    if not patch.borders:
        raise GeometryError(
            f"the surface about {at_mm(nearest[0])} runs on smoothly all round, without a sharp "
            'edge; edge = "border" follows a region of it'
        )
    return patch


def _line(patch: Bordered, wanted: PathAlong) -> FloatArray:
    """Return the line on a patch as far in from the wanted border as is asked, (n, 3) [mm]."""
    near = None if wanted.near_mm is None else np.asarray(wanted.near_mm, dtype=float)
    edges = [_closed(patch.mesh.vertices[border]) for border in patch.borders]
    edge = _chosen(edges, near)
    inside = wanted.inside_mm
    if inside == 0:
        return edge
    fine = max(inside / 8, lengths_along(edge)[-1] / 20_000)
    tree = cKDTree(_sampled(edge, fine))
    edge_mm = min(max(inside / 4, 0.5), 3.0)
    limit = Limit(lambda points: tree.query(points)[0] - inside, edge_mm)
    cut = cut_at(Surface.of(patch.mesh.vertices, patch.mesh.faces), limit)
    beyond = limit.beyond(cut.vertices[cut.faces].mean(axis=1)) > 0
    lines = []
    for loop in rims(cut.faces[beyond]):
        there = cut.vertices[loop]
        off = np.abs(limit.beyond(there))
        # At its corners the line may run through a face; that face's own corners are left out.
        exact = off < SAME * inside + 1e-3
        lines += _runs(there, exact, off < edge_mm)
    if not lines:
        raise GeometryError(
            f"no line lies {inside:g} mm in from the edge about {at_mm(edge[0])} (inside_mm): its "
            "surface nowhere reaches so far in"
        )
    return _chosen(lines, near)


def _runs(points: FloatArray, exact: BoolArray, near: BoolArray) -> list[FloatArray]:
    """Return the stretches of a closed line, (n, 3), whose points lie near what is wanted, by
    those that lie on it exactly."""
    if near.all():
        return [_closed(points[exact])] if exact.sum() > 2 else []
    first = int(np.argmin(near))
    points, exact, near = (
        np.roll(points, -first, axis=0),
        np.roll(exact, -first),
        np.roll(near, -first),
    )
    ends = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(int)))
    runs = [points[a:b][exact[a:b]] for a, b in zip(ends[::2], ends[1::2], strict=True)]
    return [run for run in runs if len(run) > 1]


def _chosen(lines: list[FloatArray], near: FloatArray | None) -> FloatArray:
    """Return the line nearest to a point, else the longest."""
    if near is None:
        return max(lines, key=lambda line: float(lengths_along(line)[-1]))
    return min(lines, key=lambda line: _nearest(line, near)[0])


def _nearest(line: FloatArray, point: FloatArray) -> tuple[float, float]:
    """Return how near a line comes to a point, and how far along it that is [mm]."""
    start, way = line[:-1], np.diff(line, axis=0)
    square = np.maximum(np.einsum("nd,nd->n", way, way), 1e-30)
    share = (np.einsum("nd,nd->n", point - start, way) / square).clip(0, 1)
    apart = np.linalg.norm(start + share[:, None] * way - point, axis=1)
    k = int(apart.argmin())
    return float(apart[k]), float(lengths_along(line)[k] + share[k] * np.sqrt(square[k]))


def _stretch(line: FloatArray, wanted: PathAlong) -> FloatArray:
    """Return the stretch of a line from where to where is wanted, running that way."""
    closed = is_closed(line, JOIN_MM)
    length = float(lengths_along(line)[-1])
    if wanted.from_mm is None:
        return _from(line, _first_mm(line)) if closed else line
    start = _nearest(line, np.asarray(wanted.from_mm, dtype=float))[1]
    if wanted.to_mm is None:
        return _from(line, start) if closed else _between(line, start, length)
    end = _nearest(line, np.asarray(wanted.to_mm, dtype=float))[1]
    if abs(end - start) < LOOK_MM or (closed and length - abs(end - start) < LOOK_MM):
        place = at_mm(points_along(line, np.array([start]))[0])
        raise GeometryError(
            f"from_mm and to_mm lie at one place of the edge, {place}; leave out to_mm for a path "
            "all round"
        )
    if not closed:
        return _between(line, start, end)
    ahead = _between(_from(line, start), 0.0, (end - start) % length)
    back = _between(_from(line[::-1], length - start), 0.0, (start - end) % length)
    if wanted.via_mm is None:
        return min(ahead, back, key=lambda way: float(lengths_along(way)[-1]))
    via = np.asarray(wanted.via_mm, dtype=float)
    return min(ahead, back, key=lambda way: _nearest(way, via)[0])


def _first_mm(line: FloatArray) -> float:
    """Return how far along a closed line it reaches farthest toward +x, at the lowest place."""
    x, y, z = np.round(line[:-1], 1).T
    return float(lengths_along(line)[np.lexsort((y, z, -x))[0]])


def _from(line: FloatArray, start_mm: float) -> FloatArray:
    """Return a closed line begun elsewhere."""
    way = lengths_along(line)
    begin = points_along(line, np.array([start_mm]))
    after, before = line[:-1][way[:-1] > start_mm + 1e-9], line[:-1][way[:-1] < start_mm - 1e-9]
    return np.vstack([begin, after, before, begin])


def _between(line: FloatArray, start_mm: float, end_mm: float) -> FloatArray:
    """Return the part of a line between two ways along it, turned where the end comes first."""
    if end_mm < start_mm:
        return _between(line, end_mm, start_mm)[::-1]
    way = lengths_along(line)
    ends = points_along(line, np.array([start_mm, end_mm]))
    return np.vstack([ends[:1], line[(way > start_mm + 1e-9) & (way < end_mm - 1e-9)], ends[1:]])


def _evened(line: FloatArray) -> FloatArray:
    """Return a line by points at even steps, its corners kept."""
    closed = is_closed(line, JOIN_MM)
    length = float(lengths_along(line)[-1])
    count = max(2, round(length / LOOK_MM))
    at = np.linspace(0.0, length, count + 1)
    points = points_along(line, at)
    marks = [0.0, *(at[k] for k in _corners(points, closed)), length]
    steps = [
        np.linspace(a, b, max(1, round((b - a) / STEP_MM)) + 1)[:-1]
        for a, b in pairwise(marks)
        if b > a
    ]
    evened = points_along(line, np.append(np.concatenate(steps), length))
    if len(evened) < 3:
        evened = points_along(line, np.linspace(0.0, length, 3))
    if closed:
        evened[-1] = evened[0]
    return evened


def _corners(points: FloatArray, closed: bool) -> list[int]:
    """Return at which of a line's points, (n, 3) at even steps, it has corners."""
    k = np.arange(len(points))
    if closed:
        last = len(points) - 1
        before, after = points[(k - CORNER_STEPS) % last], points[(k + CORNER_STEPS) % last]
    else:
        before = points[(k - CORNER_STEPS).clip(0)]
        after = points[(k + CORNER_STEPS).clip(max=len(points) - 1)]
    one, other = unit(points - before), unit(after - points)
    turn = np.degrees(np.arccos(np.einsum("nd,nd->n", one, other).clip(-1, 1)))
    if not closed:
        turn[:CORNER_STEPS] = turn[len(turn) - CORNER_STEPS :] = 0.0
    window = range(-CORNER_STEPS, CORNER_STEPS + 1)
    most = np.max([np.roll(turn, shift) for shift in window], axis=0)
    return [int(j) for j in np.flatnonzero((turn > CORNER_DEG) & (turn >= most))]


def _sampled(line: FloatArray, step_mm: float) -> FloatArray:
    length = float(lengths_along(line)[-1])
    return points_along(line, np.linspace(0.0, length, int(length / step_mm) + 2))


def _closed(points: FloatArray) -> FloatArray:
    return np.vstack([points, points[:1]])
