"""Light that falls back into open hollows: an opening is a lamp that shines inward.

What even light that comes in through a piece of an opening does to a body is solved once, as for
any light, and linear like all else: what falls on the pieces then lights the body from within.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.rays import AHEAD_MM
from glowsim.transport.problem import BodyProblem, BoolArray, Emitters

PIECES = 4
"""Openings of a body are cut into so many pieces, about; light is taken as even on each."""
POINTS = 200
"""Places on each piece from which light sets out, about."""
SHARED_BY = 16
"""So many faces share what comes out of each: light through an opening is spread widely."""


@dataclass(frozen=True)
class Entering:
    """What light that comes in through the openings of a body does to its surface.

    lid : (k,) int, the piece of an opening that each face belongs to, -1 for faces of the body
    out : (pieces, 3, k) float32, exitance per lumen that comes in evenly by a piece [1/mm2]
    """

    lid: IntArray
    out: NDArray[np.float32]


@dataclass(frozen=True)
class Hollows:
    """The open hollows of all copies of a prop, their faces one after the other.

    takes : (n, m) sparse, area of each face of a piece [mm2]
    gives : three (m, n) sparse, one a band, exitance per lumen that comes in by a piece [1/mm2]
    """

    takes: sparse.csr_matrix
    gives: tuple[sparse.csr_matrix, ...]

    @property
    def counted(self) -> bool:
        """Whether light falls into any of them that is enough to count."""
        return bool(self.takes.shape[0])

    def let_out(self, arriving: FloatArray) -> FloatArray:
        """Return what leaves each face for what arrives on all, (m, 3) float each [lm/mm2]."""
        come_in = self.takes @ arriving
        return np.stack([give @ come_in[:, k] for k, give in enumerate(self.gives)], axis=1)


def hollows_of(parts: Sequence[tuple[Entering | None, FloatArray]]) -> Hollows:
    """Return the hollows of copies, each given by what enters it and the areas of its faces."""
    takes, gives = [], []
    for entering, areas in parts:
        faces = np.flatnonzero(entering.lid >= 0) if entering else np.zeros(0, np.int64)
        out = entering.out if entering else np.zeros((0, 3, len(areas)), np.float32)
        piece = entering.lid[faces] if entering else faces
        shape = (len(out), len(areas))
        takes.append(sparse.csr_matrix((areas[faces], (piece, faces)), shape=shape))
        gives.append([sparse.csr_matrix(out[:, band].T.astype(float)) for band in range(3)])
    together = (sparse.block_diag(band, format="csr") for band in zip(*gives, strict=True))
    return Hollows(sparse.block_diag(takes, format="csr"), tuple(together))


def pieces_of(surface: Mesh, hole: BoolArray) -> IntArray:
    """Return the piece of an opening that each face belongs to, -1 for none, (k,) int.

    hole : (k,) bool, faces that are openings
    """
    lid = np.full(len(hole), -1, dtype=np.int64)
    faces = np.flatnonzero(hole)
    if len(faces):
        centre, part = surface.centroids[faces], surface.part[faces]
        size = np.sqrt(surface.areas_mm2[faces].sum() / PIECES)
        low, spread = centre.min(axis=0), np.ptp(centre, axis=0)
        count = np.maximum(np.round(spread / size), 1)
        place = np.minimum((centre - low) / np.maximum(spread, 1e-9) * count, count - 1).astype(int)
        _, piece = np.unique(np.column_stack([place, part]), axis=0, return_inverse=True)
        lid[faces] = piece.ravel()
    return lid


def entering_by(
    problem: BodyProblem, surface: Mesh, lid: IntArray, out: FloatArray | NDArray[np.float32]
) -> Entering:
    """Return what enters a body, from exitance that a few rays or photons for each face tell of.

    surface : the skin's mesh;  lid, out : see `Entering`
    """
    kind = 2 * problem.coat[problem.skin] + (lid >= 0)
    patchwork = Patchwork(surface, np.ones(len(lid), dtype=bool), kind)
    # A Gaussian of deviation s averages over the area 4 pi s^2.
    radius = float(np.sqrt(SHARED_BY * surface.areas_mm2.mean() / (4 * np.pi)))
    even = patchwork.smoothed(out.reshape(-1, len(lid)).T.astype(float), radius)
    return Entering(lid, np.maximum(even, 0.0).T.reshape(out.shape).astype(np.float32))


def lamps_of(problem: BodyProblem, lid: IntArray, seed: int) -> Emitters:
    """Return lamps that shine evenly into a body through the pieces of its openings, a light each.

    lid : (skin faces,) int, see `pieces_of`
    """
    rng = np.random.default_rng(seed)
    chosen = np.flatnonzero(lid >= 0)
    areas = problem.walls.areas_mm2[problem.skin]
    total = np.bincount(lid[chosen], areas[chosen])
    points = np.ceil(POINTS * areas[chosen] / total[lid[chosen]]).astype(int)
    owner = np.repeat(chosen, points)
    face = problem.skin[owner]
    a, b, c = problem.walls.triangles[face].transpose(1, 0, 2)
    root, v = np.sqrt(rng.random((len(face), 1))), rng.random((len(face), 1))
    inward = -problem.walls.normals[face]
    return Emitters(
        position=(1 - root) * a + root * (1 - v) * b + root * v * c + AHEAD_MM * inward,
        direction=inward,
        exponent=np.ones(len(face)),
        light=lid[owner],
        share=(areas[chosen] / total[lid[chosen]] / points).repeat(points),
        region=problem.inside[face],
    )
