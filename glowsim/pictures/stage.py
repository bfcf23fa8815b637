"""All copies of all bodies in the prop's frame, as triangles that share corners where smooth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.csgraph import connected_components

from glowsim.errors import PictureError
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.rays import RayTarget
from glowsim.pictures.smoothing import SurfaceHeat, surface_heat
from glowsim.transport.result import BodyGlow, SurfaceGlow

CREASE_DEG = 30.0
"""Faces that meet at more than this keep their own brightness; common practice in modelling."""
_SHARPENED = 2
"""Rounds of sharpening: more bring out the noise of single faces."""


@dataclass(frozen=True)
class Stage:
    """The prop's visible surface.

    triangles : (m, 3, 3) float [mm];  normals : (m, 3) float, unit;  areas_mm2 : (m,) float
    copy      : (m,) int, index into the glow's copies
    face      : (m,) int, face of that copy's body
    corner    : (m, 3) int, smooth corner of each triangle's corners, 0 to `corner_count` - 1
    """

    triangles: FloatArray
    normals: FloatArray
    areas_mm2: FloatArray
    copy: IntArray
    face: IntArray
    corner: IntArray
    corner_count: int

    @cached_property
    def bounds(self) -> FloatArray:
        """Least and greatest corner, (2, 3) float [mm]."""
        return np.array([self.triangles.min(axis=(0, 1)), self.triangles.max(axis=(0, 1))])

    @cached_property
    def centre(self) -> FloatArray:
        """Middle of the bounds, (3,) float [mm]."""
        return self.bounds.mean(axis=0)

    @cached_property
    def radius_mm(self) -> float:
        """Greatest distance of a corner from the centre [mm]."""
        away = self.triangles.reshape(-1, 3) - self.centre
        return float(np.sqrt(np.einsum("nd,nd->n", away, away).max()))

    @cached_property
    def centroids(self) -> FloatArray:
        """Face centres, (m, 3) float [mm]."""
        return self.triangles.mean(axis=1)

    @cached_property
    def axis(self) -> FloatArray:
        """Where the prop turns: the mean of its surface, at the height of the centre, (3,) [mm].

        A prop that is the same all round its stem turns about the stem.
        """
        mean = self.areas_mm2 @ self.centroids / max(float(self.areas_mm2.sum()), 1e-30)
        return np.array([mean[0], mean[1], self.centre[2]])

    @cached_property
    def points(self) -> FloatArray:
        """Place of each smooth corner, (corner_count, 3) float [mm]."""
        place = np.zeros((self.corner_count, 3))
        place[self.corner.ravel()] = self.triangles.reshape(-1, 3)
        return place

    @cached_property
    def point_normals(self) -> FloatArray:
        """Unit normal at each smooth corner, (corner_count, 3) float."""
        normal = self.at_corners(self.normals)
        return normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)

    @cached_property
    def rays(self) -> RayTarget:
        """The triangles, ready for ray tests."""
        return RayTarget(self.triangles)

    @cached_property
    def piece(self) -> IntArray:
        """Number of the smooth piece of surface each triangle belongs to, (m,) int."""
        one = np.concatenate([self.corner[:, 0], self.corner[:, 1]])
        other = np.concatenate([self.corner[:, 1], self.corner[:, 2]])
        size = (self.corner_count, self.corner_count)
        links = coo_matrix((np.ones(len(one), bool), (one, other)), shape=size)
        return connected_components(links, directed=False)[1][self.corner[:, 0]]

    @cached_property
    def _means(self) -> csr_matrix:
        """Weights that take face values to the smooth corners, by area."""
        face = np.repeat(np.arange(len(self.triangles)), 3)
        area = np.maximum(np.repeat(self.areas_mm2, 3), 1e-12)
        size = (self.corner_count, len(self.triangles))
        sums = csr_matrix((area, (self.corner.ravel(), face)), shape=size)
        whole = np.asarray(sums.sum(axis=1)).ravel()
        return (diags(1 / whole) @ sums).tocsr()

    def at_corners(self, values: FloatArray) -> FloatArray:
        """Return the area-weighted mean of face values around each smooth corner.

        values : (m, c) float.  Returns (corner_count, c) float.
        """
        return self._means @ values

    def sharp_at_corners(self, values: FloatArray) -> FloatArray:
        """Return values at the smooth corners, >= 0, whose means over the faces come near `values`.

        Means around corners are duller than what they are made of, and lean to where the faces
        reach further: rows of long thin faces showed as stripes. Each round gives the corners
        what the faces then lack.
        """
        sharp = self.at_corners(values)
        for _ in range(_SHARPENED):
            sharp += self.at_corners(values - sharp[self.corner].mean(axis=1))
        return np.maximum(sharp, 0.0)

    @cached_property
    def _heat(self) -> SurfaceHeat:
        return surface_heat(self.triangles, self.corner, self.corner_count)

    def smoothed(self, values: FloatArray, radius_mm: float) -> FloatArray:
        """Return values at the smooth corners, (corner_count, c) float, averaged around each.

        As a Gaussian of standard deviation `radius_mm` does, across smooth edges only.
        """
        return self._heat.smoothed(values, radius_mm)


def stage_of(glow: SurfaceGlow) -> Stage:
    """Return the stage of a prop. Raises PictureError if nothing of it can be seen."""
    corners = [smooth_corners_of(body) for body in glow.bodies]
    parts = [
        (number, glow.bodies[copy.body].surface.moved(copy.transform), *corners[copy.body])
        for number, copy in enumerate(glow.copies)
    ]
    if not any(len(mesh.faces) for _, mesh, _, _ in parts):
        raise PictureError("there is nothing to draw: no body has a surface on the room")
    starts = np.concatenate([[0], np.cumsum([count for *_, count in parts])])
    return Stage(
        np.concatenate([mesh.triangles for _, mesh, _, _ in parts]),
        np.concatenate([mesh.normals for _, mesh, _, _ in parts]),
        np.concatenate([mesh.areas_mm2 for _, mesh, _, _ in parts]),
        np.concatenate([np.full(len(mesh.faces), number) for number, mesh, _, _ in parts]),
        np.concatenate([np.arange(len(mesh.faces)) for _, mesh, _, _ in parts]),
        np.concatenate([c + s for (_, _, c, _), s in zip(parts, starts, strict=False)]),
        int(starts[-1]),
    )


def smooth_corners_of(body: BodyGlow) -> tuple[IntArray, int]:
    """Return the smooth corner of each face's corners, (k, 3) int, and how many there are.

    Brightness may run across an edge only where the faces are of one kind: both meant to glow
    or not, both openings or not, equally white, of one index of refraction.
    """
    look = np.column_stack([body.glows, body.hole, np.round(body.whiteness, 6), body.face_index])
    _, kind = np.unique(look, axis=0, return_inverse=True)
    return smooth_corners(body.surface, kind.ravel())


def smooth_corners(mesh: Mesh, kind: IntArray, crease_deg: float = CREASE_DEG) -> tuple:
    """Group the corners of a mesh's faces where the surface runs on smoothly.

    Corners belong together when their faces share an edge, are of one `kind`, (k,) int, and
    bend by less than `crease_deg` there. Returns (k, 3) int and the number of groups.
    """
    faces = mesh.faces
    count = len(faces)
    here = np.concatenate([faces[:, 0], faces[:, 1], faces[:, 2]])
    there = np.concatenate([faces[:, 1], faces[:, 2], faces[:, 0]])
    owner = np.tile(np.arange(count), 3)
    local = np.repeat(np.arange(3), count)
    first, second = owner * 3 + local, owner * 3 + (local + 1) % 3
    turned = here > there
    low, high = np.where(turned, second, first), np.where(turned, first, second)
    order = np.lexsort([np.maximum(here, there), np.minimum(here, there)])
    edge = np.column_stack([np.minimum(here, there), np.maximum(here, there)])[order]
    low, high, owner = low[order], high[order], owner[order]
    bend = np.einsum("nd,nd->n", mesh.normals[owner[1:]], mesh.normals[owner[:-1]])
    joined = (edge[1:] == edge[:-1]).all(axis=1)
    joined &= (kind[owner[1:]] == kind[owner[:-1]]) & (bend > np.cos(np.radians(crease_deg)))
    one = np.concatenate([low[:-1][joined], high[:-1][joined]])
    other = np.concatenate([low[1:][joined], high[1:][joined]])
    links = coo_matrix((np.ones(len(one), bool), (one, other)), shape=(3 * count, 3 * count))
    groups, label = connected_components(links, directed=False)
    return label.reshape(-1, 3).astype(np.int64), groups
