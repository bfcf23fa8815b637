"""Boards in the hollow of a shell, roughly: what they take out of the light between its walls, and
what they throw back. For drafts alone.

Even light crosses the place of a flat board along lines evenly spread over it and, by the cosine
law, over directions. Each line joins two patches of wall that the board hides from each other; and
as light goes the same way there and back, the patches that the lines end on are those that send
light to either side of the board and get its own. The rim is left out, and so is what stands
between a board and the walls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.geometry.boards import BoardShape
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.rays import AHEAD_MM, RayTarget
from glowsim.optics.emission import luminance_shape
from glowsim.transport.problem import OpaqueBoard
from glowsim.transport.quick.cavity import Cavity

LINES = 4096
_STEPS = 1.1673039782614187 ** -np.arange(1.0, 5.0)
"""Steps of an even cover of four dimensions: by the root of x^5 = x + 1 (Roberts, 2018)."""


@dataclass(frozen=True)
class Standing:
    """A board where it stands; p patches of wall.

    area_mm2 : of one side
    hidden   : (p, p) sparse, share of what each patch sends that would arrive at each other per
               area, were the board not there
    seen     : (2, p) float, share of what leaves its front and its back that arrives at each
               patch, times its area over that of the patch
    reflects : (2, 3) float, reflectance of front and back in each band
    """

    area_mm2: float
    hidden: sparse.csr_matrix
    seen: FloatArray
    reflects: FloatArray

    def change(
        self, leaving: FloatArray, onto: FloatArray, patch_mm2: FloatArray, band: int
    ) -> FloatArray:
        """Return what changes by the board of what arrives at each patch, (p, lights), per area.

        leaving : (p, lights) float, what patches send per area;  onto : (2, lights) float, power
        from the LEDs on either side
        """
        power = (self.seen * patch_mm2) @ leaving + onto
        back = self.reflects[:, band, None] * power / self.area_mm2
        return np.asarray(self.seen.T @ back - self.hidden @ leaving)


def standing(
    board: OpaqueBoard, walls: Mesh, target: RayTarget, cavity: Cavity, index: FloatArray
) -> Standing:
    """Return a board in a hollow; target : its walls;  index : (faces,) see `index_toward_air`."""
    patch, patch_mm2 = cavity.patch, cavity.area
    shape, count = board.shape, len(patch_mm2)
    place, way = _lines(shape)
    area = _area_mm2(shape)
    ends, laws = [], []
    for height, toward in ((AHEAD_MM, way), (-shape.thickness_mm - AHEAD_MM, -way)):
        start = place + height * shape.frame[:3, 2]
        hits = target.first_hits(start, toward)
        met = hits.face >= 0
        cosine = np.abs(np.einsum("nd,nd->n", toward, walls.normals[hits.face]))
        ends.append(np.where(met, patch[hits.face], -1))
        laws.append(luminance_shape(cosine, n=index[hits.face]))
    each = area / LINES
    both = (ends[0] >= 0) & (ends[1] >= 0)
    front, back = ends[0][both], ends[1][both]
    crossing = each * (laws[0] * laws[1])[both]
    rows, columns = np.concatenate([front, back]), np.concatenate([back, front])
    values = np.tile(crossing, 2) / patch_mm2[rows]
    seen = [
        np.bincount(end[end >= 0], each * law[end >= 0], count) / patch_mm2
        for end, law in zip(ends, laws, strict=True)
    ]
    return Standing(
        area,
        sparse.csr_matrix((values, (rows, columns)), shape=(count, count)),
        np.array(seen),
        np.array([board.front, board.back]),
    )


def stopped(shape: BoardShape, start: FloatArray, end: FloatArray) -> np.ndarray:
    """Return whether a board stands between points (e, 3) and points (n, 3), (e, n) bool."""
    middle = np.array([0.0, 0.0, shape.thickness_mm / 2])
    one, other = shape.local(start) + middle, shape.local(end) + middle
    found = one[:, None, 2] * other[None, :, 2] < 0
    a, b = np.nonzero(found)
    share = one[a, 2] / (one[a, 2] - other[b, 2])
    found[a, b] = shape.covers(one[a] + share[:, None] * (other[b] - one[a]))
    return np.asarray(found)


def _lines(shape: BoardShape) -> tuple[FloatArray, FloatArray]:
    """Return places on a board's front and ways ahead of it, (LINES, 3) float each."""
    a, b, c, d = ((0.5 + np.arange(1, LINES + 1)[:, None] * _STEPS) % 1.0).T
    turn = 2 * np.pi * a
    ahead = np.column_stack([np.sqrt(b) * np.cos(turn), np.sqrt(b) * np.sin(turn), np.sqrt(1 - b)])
    if shape.is_round:
        inner, outer = shape.bore_mm / 2, shape.size_mm[0] / 2
        radius = np.sqrt(inner**2 + (outer**2 - inner**2) * c)
        flat = radius[:, None] * np.column_stack([np.cos(2 * np.pi * d), np.sin(2 * np.pi * d)])
    else:
        flat = (np.column_stack([c, d]) - 0.5) * np.array(shape.size_mm)
    frame = shape.frame[:3, :3]
    return flat @ frame[:, :2].T + shape.frame[:3, 3], ahead @ frame.T


def _area_mm2(shape: BoardShape) -> float:
    length, width = shape.size_mm
    if not shape.is_round:
        return length * width
    return float(np.pi * (length**2 - shape.bore_mm**2) / 4)
