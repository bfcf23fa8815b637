"""Light across the air as the placing of boards counts it: between patches instead of faces.

What leaves patches of the body that is placed in falls on its other patches, on its copies and on
other bodies, and is sent back and forth, M = M_first + rho F M as in `transport.air`, with faces
gathered into patches. All copies get the same boards, so what a patch sends back is the mean over
them. Other lit bodies keep their share of it, and so do openings of this one: they count as
changing in proportion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.exchange import MATTERS, added, crossing_share
from glowsim.transport.result import SurfaceGlow

PARTS = 6
"""Faces of other bodies are gathered by where they are: so many parts of the prop's size ..."""
_SIDES = np.array([1, 2, 4])
"""... and by the octant they face."""


@dataclass(frozen=True)
class Crossing:
    """Light across the air in a prop, and what of it reaches the body that is placed in.

    back : (3, patches, patches) float, per band the share of the flux that leaves a patch (last)
           which another one sends back or lets out again, after all bounces
    glow : of the prop, its air known;  mine : which of its copies are placed in
    """

    back: FloatArray
    glow: SurfaceGlow
    mine: tuple[bool, ...]

    def sent_back(self, share: FloatArray) -> FloatArray:
        """Return what patches send back of what leaves them, (n, 3, patches) -> the same."""
        return np.einsum("nbq,bpq->nbp", share, self.back, optimize=True)

    def on_faces(self, diffuse: FloatArray, direct: FloatArray) -> FloatArray:
        """Return what light from other faces adds to each face of the body seen square-on, all
        bands together, the mean over its copies, (faces,) float [lm/mm2].

        diffuse, direct : (3, faces) float, what leaves its faces [lm/mm2]; other bodies shine as
                          they do in the glow
        """
        glow, parts = self.glow, []
        for copy, placed in zip(glow.copies, self.mine, strict=True):
            if placed:
                parts.append((diffuse.T, direct.T))
            else:
                scattered = glow.exitance_lm_mm2(copy, direct=False).T
                parts.append((scattered, glow.exitance_lm_mm2(copy).T - scattered))
        first, second = (np.concatenate(part) for part in zip(*parts, strict=True))
        arriving = glow.air.arriving(first, second, glow.hollows)
        back = added(glow, glow.air.white * arriving, glow.hollows.let_out(arriving)).sum(axis=1)
        copies = np.split(back, np.cumsum([len(part[0]) for part in parts])[:-1])
        return np.mean([b for b, placed in zip(copies, self.mine, strict=True) if placed], axis=0)


def crossing_of(
    glow: SurfaceGlow, key: str, patch: IntArray, area_mm2: FloatArray
) -> Crossing | None:
    """Return the light across the air of a prop's glow; None where it does not matter.

    key   : of the body that is placed in
    patch : (faces,) int, of each of its faces, -1 for none;  area_mm2 : (patches,) float
    """
    if crossing_share(glow) < MATTERS:
        return None
    place = {body.key: k for k, body in enumerate(glow.bodies)}[key]
    mine = [copy.body == place for copy in glow.copies]
    group, count = _groups(glow, mine, patch, len(area_mm2))
    areas, patches, copies = glow.faces.areas_mm2, len(area_mm2), sum(mine)
    total = np.bincount(group, areas, count)
    # Of the same patch on all copies: each sends out as much, and the mean of all is looked at.
    times = np.where(np.arange(count) < patches, copies, 1)
    faces = np.arange(len(group))
    out = sparse.csr_matrix((times[group] / total[group], (faces, group)), (len(group), count))
    air, back = glow.air, []
    flux = np.concatenate([glow.exitance_lm_mm2(copy) for copy in glow.copies], axis=1) * areas
    leaning, seen = air.leaning @ out, air.seen @ out
    for band in range(3):
        weight = areas / times[group]
        gather = sparse.csr_matrix((weight, (group, faces)), (count, len(group)))
        white = gather @ sparse.diags(air.white[:, band])
        back_by = white + (gather @ glow.hollows.gives[band]) @ glow.hollows.takes
        again = np.eye(count) - (back_by @ seen).toarray()
        every = np.linalg.solve(again, (back_by @ leaning).toarray())
        others = np.bincount(group, flux[band], count)
        mean_own = max(float(others[:patches].sum()) / copies, 1e-30)
        others[:patches] = 0.0
        fallen = (every @ others)[:patches] / mean_own
        back.append(every[:patches, :patches] + fallen[:, None])
    return Crossing(np.array(back), glow, tuple(mine))


def _groups(
    glow: SurfaceGlow, mine: list[bool], patch: IntArray, patches: int
) -> tuple[IntArray, int]:
    """Return the group of each face of all copies, and how many there are: patches first."""
    middle = glow.faces.triangles.mean(axis=1)
    cell = float(np.ptp(middle, axis=0).max()) / PARTS
    where = np.floor((middle - middle.min(axis=0)) / cell).astype(np.int64)
    side = (glow.faces.normals > 0) @ _SIDES
    code = ((where @ np.array([1, 16, 256])) * 8 + side).astype(np.int64)
    known = np.full(len(code), -1, dtype=np.int64)
    start = 0
    for copy, placed in zip(glow.copies, mine, strict=True):
        rows = slice(start, start + len(glow.bodies[copy.body].glows))
        start = rows.stop
        if placed:
            known[rows] = patch
    rest = known < 0
    _, number = np.unique(code[rest], return_inverse=True)
    known[rest] = patches + number
    return known, int(known.max()) + 1
