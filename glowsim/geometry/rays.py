"""Rays against triangles: first hits, and all crossings along parallel lines."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from glowsim.errors import GeometryError
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh

try:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene
except ImportError as problem:  # pragma: no cover - depends on the machine
    raise GeometryError(
        "the ray library embreex is not installed; it has no wheel for Linux on ARM yet, so use "
        "an x86-64 machine, a Mac or Windows there"
    ) from problem

BoolArray = NDArray[np.bool_]

AHEAD_MM = 1e-3
"""How far past a hit the next ray starts. Coordinates are single precision in the ray library:
1e-3 mm is safe for bodies up to some metres."""


@dataclass(frozen=True)
class Hits:
    """First hits of n rays.

    face        : (n,) int, -1 for a miss
    distance_mm : (n,) float, infinite for a miss
    origins, directions : (n, 3) float, of the rays [mm], of length 1
    """

    face: IntArray
    distance_mm: FloatArray
    origins: FloatArray
    directions: FloatArray

    @cached_property
    def point(self) -> FloatArray:
        """Where the rays end, (n, 3) float [mm]; of a miss the origin."""
        reach = np.where(self.face >= 0, self.distance_mm, 0.0)
        return self.origins + reach[:, None] * self.directions

    def where(self, kept: BoolArray) -> Hits:
        """Return those of some rays, (n,) bool."""
        return Hits(
            self.face[kept], self.distance_mm[kept], self.origins[kept], self.directions[kept]
        )


class Target(Protocol):
    """Whatever rays can be sent against."""

    def first_hits(self, origins: FloatArray, directions: FloatArray) -> Hits:
        """Return the first hit of each ray."""


class RayTarget:
    """Triangles prepared for ray tests; safe to use from several threads at once."""

    def __init__(self, corners: FloatArray, faces: IntArray | None = None) -> None:
        """Prepare triangles by their corners, (m, 3, 3) float, or (n, 3) as `faces` number them
        [mm]."""
        points = corners.reshape(-1, 3)
        # Single precision: kept small by measuring from the middle of the triangles.
        self._middle = (points.min(axis=0) + points.max(axis=0)) / 2 if len(points) else 0.0
        near = np.ascontiguousarray(corners - self._middle, dtype=np.float32)
        self._scene = EmbreeScene()
        if faces is None:
            self._mesh = TriangleMesh(self._scene, near)
        else:
            self._mesh = TriangleMesh(self._scene, near, faces.astype(np.int32))

    @classmethod
    def of(cls, mesh: Mesh) -> RayTarget:
        """Prepare the faces of a mesh: half the time that loose triangles take."""
        return cls(mesh.vertices, mesh.faces)

    def first_hits(self, origins: FloatArray, directions: FloatArray) -> Hits:
        """Return the first hit of each ray; origins (n, 3) [mm], directions (n, 3) of length 1."""
        if len(origins) == 0:
            return Hits(np.zeros(0, np.int64), np.zeros(0), origins, directions)
        found = self._scene.run(
            np.ascontiguousarray(origins - self._middle, dtype=np.float32),
            np.ascontiguousarray(directions, dtype=np.float32),
            output=1,
        )
        face = found["primID"].astype(np.int64)
        distance = np.where(face >= 0, found["tfar"].astype(float), np.inf)
        return Hits(face, distance, origins, directions)

    def blocked(self, start: FloatArray, end: FloatArray) -> BoolArray:
        """Return whether anything lies strictly between pairs of points, (n,) bool."""
        span = end - start
        length = np.linalg.norm(span, axis=1)
        direction = span / np.maximum(length, 1e-12)[:, None]
        hits = self.first_hits(start + AHEAD_MM * direction, direction)
        return hits.distance_mm < length - 3 * AHEAD_MM


@dataclass(frozen=True)
class Joined:
    """Two sets of triangles as one: the second's are numbered after the first's."""

    first: RayTarget
    first_count: int
    second: RayTarget

    def first_hits(self, origins: FloatArray, directions: FloatArray) -> Hits:
        """Return the first hit of each ray, see `RayTarget.first_hits`."""
        hits = self.first.first_hits(origins, directions)
        other = self.second.first_hits(origins, directions)
        nearer = other.distance_mm < hits.distance_mm
        return Hits(
            np.where(nearer, other.face + self.first_count, hits.face),
            np.where(nearer, other.distance_mm, hits.distance_mm),
            origins,
            directions,
        )


def cosine_rays(normals: FloatArray, turn: FloatArray, share: FloatArray) -> FloatArray:
    """Return directions by the cosine law about normals (n, 3), (n * k, 3) float.

    turn, share : (n, k) float, 0..1, evenly spread: the way around and the disc's area within
    """
    around, radius = 2 * np.pi * turn, np.sqrt(share)
    x, y, z = radius * np.cos(around), radius * np.sin(around), np.sqrt(1 - share)
    # A frame about the normal without a special case (Duff et al., J. Comput. Graph. Tech. 6(1),
    # 1 (2017)).
    nx, ny, nz = normals.T[:, :, None]
    sign = np.where(nz >= 0, 1.0, -1.0)
    a = -1 / (sign + nz)
    b = nx * ny * a
    rays = np.stack(
        [
            x * (1 + sign * nx * nx * a) + y * b + z * nx,
            x * sign * b + y * (sign + ny * ny * a) + z * ny,
            -x * sign * nx - y * ny + z * nz,
        ],
        axis=-1,
    )
    return rays.reshape(-1, 3)


def inside_spans(
    mesh: Mesh, x: FloatArray, y: FloatArray, target: RayTarget | None = None
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return where lines parallel to z run inside a closed mesh.

    x, y : (n,) float, where the lines stand [mm];  target : the mesh made ready before, if so.
    Returns the line of each span (k,) int and its lower and upper end (k,) float [mm]. A span is
    where more faces have been entered than left, so overlapping pieces count once.
    """
    target = RayTarget.of(mesh) if target is None else target
    line, height, entering = _crossings(mesh, target, x, y)
    order = np.lexsort((height, line))
    line, height, entering = line[order], height[order], entering[order]
    depth = np.cumsum(entering)
    # A line that lost a crossing at an edge must not spoil the lines after it.
    first = np.searchsorted(line, line, side="left")
    depth -= depth[first] - entering[first]
    opens = (depth == 1) & (entering == 1)
    closes = (depth == 0) & (entering == -1)
    start, end = np.nonzero(opens)[0], np.nonzero(closes)[0]
    following = np.searchsorted(end, start)
    sound = following < len(end)
    start, following = start[sound], following[sound]
    stop = end[following]
    same = line[start] == line[stop]
    return line[start[same]], height[start[same]], height[stop[same]]


def _crossings(
    mesh: Mesh, target: RayTarget, x: FloatArray, y: FloatArray
) -> tuple[IntArray, FloatArray, IntArray]:
    """Return all crossings of upward lines: line, height and +1 entering or -1 leaving."""
    origin = np.column_stack([x, y, np.full(len(x), mesh.bounds[0, 2] - 1.0)])
    up = np.array([0.0, 0.0, 1.0])
    active = np.arange(len(x))
    lines, heights, signs = [], [], []
    while len(active):
        hits = target.first_hits(origin[active], np.broadcast_to(up, (len(active), 3)))
        hit = hits.face >= 0
        active = active[hit]
        lines.append(active)
        heights.append(hits.point[hit, 2])
        signs.append(np.where(mesh.normals[hits.face[hit], 2] < 0, 1, -1))
        origin[active, 2] = hits.point[hit, 2] + AHEAD_MM
    return np.concatenate(lines), np.concatenate(heights), np.concatenate(signs)
