"""All copies of all bodies in the prop's frame, as triangles that share corners where smooth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_matrix, diags
from scipy.spatial import ConvexHull, QhullError

from glowsim.errors import PictureError
from glowsim.geometry.creases import smooth_pieces
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.rays import BoolArray, RayTarget
from glowsim.pictures.camera import turned_points
from glowsim.pictures.smoothing import SurfaceHeat, surface_heat
from glowsim.transport.result import SurfaceGlow

_FLAT = 0.01
"""Faces that spread less than this share of their whole spread one way tell of no slope there."""


@dataclass(frozen=True)
class Stage:
    """The prop's visible surface.

    triangles : (m, 3, 3) float [mm];  normals : (m, 3) float, unit;  areas_mm2 : (m,) float
    copy      : (m,) int, index into the glow's copies
    face      : (m,) int, face of that copy's body
    corner    : (m, 3) int, smooth corner of each triangle's corners, 0 to `corner_count` - 1
    rays      : the triangles, ready for ray tests
    bodies    : the body of each copy; copies of one body have the same corners in the same order
    starts    : (copies + 1,) int, the first smooth corner of each copy
    """

    triangles: FloatArray
    normals: FloatArray
    areas_mm2: FloatArray
    copy: IntArray
    face: IntArray
    corner: IntArray
    corner_count: int
    rays: RayTarget
    bodies: tuple[int, ...]
    starts: IntArray

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
        """Return face values at the smooth corners by a straight line through those around.

        values : (m, c) float.  Returns (corner_count, c) float, nowhere outside of what the faces
        around have. A mean belongs to the middle of the faces, and where they reach further to
        one side that is not the corner: rows of long or thin faces then show as stripes.
        """
        around, starts = self._means.indices, self._means.indptr[:-1]
        low = np.minimum.reduceat(values[around], starts)
        high = np.maximum.reduceat(values[around], starts)
        return np.clip(self._lines @ values, low, high)

    @cached_property
    def _lines(self) -> csr_matrix:
        """Weights that take face values to the smooth corners: straight lines by least squares.

        With weights w of the mean, centres c, their mean y and spread C = sum w (c - y)(c - y)',
        the line at the corner x has w (1 + (x - y)' C^-1 (c - y)).
        """
        means = self._means
        data = np.zeros(len(means.data))
        for copies in self._alike:
            # They stand elsewhere and turned, which changes no weight.
            one = self._line_weights(*self.starts[copies[0] : copies[0] + 2])
            for copy in copies:
                first = means.indptr[self.starts[copy]]
                data[first : first + len(one)] = one
        return csr_matrix((data, means.indices, means.indptr), shape=means.shape)

    def _line_weights(self, first: int, stop: int) -> FloatArray:
        """Return the weights of lines for the corners from `first` on, as they lie in memory."""
        means = self._means[first:stop]
        corner = np.repeat(np.arange(stop - first), np.diff(means.indptr))
        middle = means @ self.centroids
        off = self.centroids[means.indices] - middle[corner]
        spread = np.zeros((stop - first, 3, 3))
        for i in range(3):
            for j in range(3):
                weight = means.data * off[:, i] * off[:, j]
                spread[:, i, j] = np.bincount(corner, weight, stop - first)
        size = np.trace(spread, axis1=1, axis2=2)
        spread += (_FLAT * size + 1e-12)[:, None, None] * np.eye(3)
        lever = np.linalg.solve(spread, (self.points[first:stop] - middle)[..., None])[..., 0]
        return means.data * (1 + np.einsum("nd,nd->n", lever[corner], off))

    @property
    def _alike(self) -> list[list[int]]:
        """The copies of each body that has any surface."""
        found = [
            [copy for copy, other in enumerate(self.bodies) if other == body]
            for body in sorted(set(self.bodies))
        ]
        sizes = np.diff(self.starts)
        return [copies for copies in found if sizes[copies[0]]]

    @cached_property
    def outline(self) -> FloatArray:
        """The corners that stand out, which alone decide how the prop is framed, (n, 3) float."""
        try:
            return self.points[ConvexHull(self.points).vertices]
        except QhullError:  # flat, or next to nothing
            return self.points

    @cached_property
    def turned(self) -> FloatArray:
        """The outline of the prop turned all round its axis, (n, 3) float [mm]."""
        return turned_points(self.points, self.axis)

    @cached_property
    def _heat(self) -> list[tuple[SurfaceHeat, IntArray]]:
        """Conduction over each body, and the corners of its copies, (copies, c) int."""
        found = []
        for copies in self._alike:
            first, stop = self.starts[copies[0]], self.starts[copies[0] + 1]
            own = self.copy == copies[0]
            heat = surface_heat(self.triangles[own], self.corner[own] - first, stop - first)
            found.append((heat, self.starts[copies][:, None] + np.arange(stop - first)))
        return found

    def smoothed(
        self, values: FloatArray, radius_mm: float, wanted: BoolArray | None = None
    ) -> FloatArray:
        """Return values at the smooth corners, (corner_count, c) float, averaged around each.

        As a Gaussian of standard deviation `radius_mm` does, across smooth edges only. Bodies
        without a triangle that is `wanted`, (m,) bool, keep their values.
        """
        if radius_mm <= 0:
            return values
        result = values.copy()
        shown = set(self.copy if wanted is None else self.copy[wanted])
        for copies, (heat, corner) in zip(self._alike, self._heat, strict=True):
            if shown.isdisjoint(copies):
                continue
            # All copies of a body are solved together.
            own = values[corner].transpose(1, 0, 2)
            calm = heat.smoothed(own.reshape(len(own), -1), radius_mm)
            result[corner] = calm.reshape(own.shape).transpose(1, 0, 2)
        return result


def stage_of(glow: SurfaceGlow) -> Stage:
    """Return the stage of a prop. Raises PictureError if nothing of it can be seen."""
    corners = [body.smooth_corners for body in glow.bodies]
    faces = [np.arange(len(glow.bodies[copy.body].glows)) for copy in glow.copies]
    if not any(map(len, faces)):
        raise PictureError("there is nothing to draw: no body has a surface on the room")
    groups = [corners[copy.body] for copy in glow.copies]
    starts = np.concatenate([[0], np.cumsum([count for _, count in groups])]).astype(np.int64)
    return Stage(
        glow.faces.triangles,
        glow.faces.normals,
        glow.faces.areas_mm2,
        np.concatenate([np.full(len(own), number) for number, own in enumerate(faces)]),
        np.concatenate(faces),
        np.concatenate([corner + s for (corner, _), s in zip(groups, starts, strict=False)]),
        int(starts[-1]),
        glow.faces.rays,
        tuple(copy.body for copy in glow.copies),
        starts,
    )
