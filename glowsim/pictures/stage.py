"""All copies of all bodies in the prop's frame, as triangles that share corners where smooth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_matrix, diags

from glowsim.errors import PictureError
from glowsim.geometry.creases import smooth_pieces
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import RayTarget
from glowsim.pictures.smoothing import SurfaceHeat, surface_heat
from glowsim.transport.air import smooth_corners_of
from glowsim.transport.result import SurfaceGlow

_SHARPENED = 2
"""Rounds of sharpening: more bring out the noise of single faces."""


@dataclass(frozen=True)
class Stage:
    """The prop's visible surface.

    triangles : (m, 3, 3) float [mm];  normals : (m, 3) float, unit;  areas_mm2 : (m,) float
    copy      : (m,) int, index into the glow's copies
    face      : (m,) int, face of that copy's body
    corner    : (m, 3) int, smooth corner of each triangle's corners, 0 to `corner_count` - 1
    rays      : the triangles, ready for ray tests
    """

    triangles: FloatArray
    normals: FloatArray
    areas_mm2: FloatArray
    copy: IntArray
    face: IntArray
    corner: IntArray
    corner_count: int
    rays: RayTarget

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
    def piece(self) -> IntArray:
        """Number of the smooth piece of surface each triangle belongs to, (m,) int."""
        return smooth_pieces(self.corner, self.corner_count)

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
    faces = [np.arange(len(glow.bodies[copy.body].glows)) for copy in glow.copies]
    if not any(map(len, faces)):
        raise PictureError("there is nothing to draw: no body has a surface on the room")
    groups = [corners[copy.body] for copy in glow.copies]
    starts = np.concatenate([[0], np.cumsum([count for _, count in groups])])
    return Stage(
        glow.faces.triangles,
        glow.faces.normals,
        glow.faces.areas_mm2,
        np.concatenate([np.full(len(own), number) for number, own in enumerate(faces)]),
        np.concatenate(faces),
        np.concatenate([corner + s for (corner, _), s in zip(groups, starts, strict=False)]),
        int(starts[-1]),
        glow.faces.rays,
    )
