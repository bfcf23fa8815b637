"""Where on a mesh a value that is known at its faces' corners passes through 0."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from trimesh.triangles import points_to_barycentric

from glowsim.geometry.cuts import BoolArray, Limit
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh

EDGE_SHARE = 0.5
"""Edge of the faces along a border, over that of the faces it runs through, as a rule."""


@dataclass(frozen=True)
class Border:
    """Places along a border, no farther apart than `edge_mm`; faces along it are made that fine."""

    places: cKDTree
    edge_mm: float

    def around(self, covers: Callable[[FloatArray], BoolArray]) -> Limit:
        """Return it as the limit of a region.

        covers : which points, (n, 3) [mm], the region covers
        """

        def beyond(points: FloatArray) -> FloatArray:
            apart, _ = self.places.query(points)
            side = np.where(covers(points), -1.0, 1.0)
            return np.asarray(side * np.maximum(apart - self.edge_mm / 2, 1e-9))

        return Limit(beyond, self.edge_mm)


def border_of(corners: FloatArray, values: FloatArray, meets: BoolArray) -> Border | None:
    """Return where values pass through 0 on triangles, (k, 3, 3), None if they nowhere do.

    values : (k, 3) float, at their corners, even between them
    meets  : (k,) bool, triangles in whose middle the border bends, as three regions meet there
    """
    beyond = values > 0
    mixed = np.ptp(beyond.astype(int), axis=1) > 0
    if not mixed.any():
        return None
    corners, values, beyond, meets = corners[mixed], values[mixed], beyond[mixed], meets[mixed]
    ahead = np.roll(corners, -1, axis=1)
    edge_mm = max(EDGE_SHARE * float(np.median(np.linalg.norm(ahead - corners, axis=2))), 1e-3)
    step = values - np.roll(values, -1, axis=1)
    share = np.where(step == 0, 0.5, values / np.where(step == 0, 1.0, step))
    crossing = corners + share[:, :, None] * (ahead - corners)
    ends = crossing[beyond != np.roll(beyond, -1, axis=1)].reshape(-1, 2, 3)
    middle = np.where(meets[:, None], corners.mean(axis=1), ends.mean(axis=1))
    stretches = np.concatenate([np.stack([ends[:, k], middle], axis=1) for k in (0, 1)])
    way = stretches[:, 1] - stretches[:, 0]
    steps = int(np.ceil(np.linalg.norm(way, axis=1).max() / edge_mm)) + 1
    places = [stretches[:, 0] + at * way for at in np.linspace(0.0, 1.0, steps)]
    return Border(cKDTree(np.concatenate(places)), edge_mm)


def weights_on(mesh: Mesh, points: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the nearest face of a mesh to points, (n,), and the weights of its corners there,
    (n, 3)."""
    _, nearest, face = nearest_on(mesh, points)
    weights = points_to_barycentric(mesh.triangles[face], nearest)
    return face, np.nan_to_num(weights, nan=1 / 3)
