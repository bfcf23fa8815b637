"""Regions painted at the corners of a mesh: they end between corners of two colours.

Halfway from corner to corner a border goes in teeth wherever it runs at a slant to the mesh, though
nobody painted teeth. So each colour's share is evened over the corners around, as far as every
corner keeps its own (as surface nets are relaxed: Gibson, MICCAI 1998, "Constrained elastic surface
nets"), and a border runs where two shares are equal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import sparse

from glowsim.geometry.borders import Border, border_of, weights_on
from glowsim.geometry.cuts import BoolArray, Limit
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh, directed_edges
from glowsim.geometry.meshfile import read_named
from glowsim.scene.bodies import MeshFile

ROUNDS = 12
"""How often shares are evened over a corner and those around it."""
KEPT = 0.05
"""By how much a corner's own colour outweighs any other there."""


@dataclass(frozen=True)
class Painted:
    """A colour of a painted mesh.

    mesh   : as the file has it;  chosen : its number;  colour : (n,) int, that of each corner
    share  : (n, colours) float, of each colour at each corner, that of its own the greatest
    border : where it ends
    """

    mesh: Mesh
    chosen: int
    colour: IntArray
    share: FloatArray
    border: Border

    def covers(self, points: FloatArray) -> BoolArray:
        """Return at which points, (n, 3) [mm], the colour outweighs the others."""
        face, weight = weights_on(self.mesh, points)
        corner = self.mesh.faces[face]
        colour = self.colour[corner]
        there = self.share[corner[:, None, :], colour[:, :, None]]
        strongest = np.einsum("njk,nk->nj", there, weight).argmax(axis=1)
        return np.asarray(colour[np.arange(len(points)), strongest] == self.chosen)

    @property
    def limit(self) -> Limit:
        """Its border, other colours lying beyond."""
        return self.border.around(self.covers)


def painted_of(code: str, mesh_file: MeshFile | None, folder: Path) -> Painted | None:
    """Return a colour of a mesh file, as '#rrggbb'; None where its corners do not bear it, or all
    do: then it goes by whole faces."""
    mesh = None if mesh_file is None else read_named(mesh_file, folder)[0]
    if mesh is None or mesh.colours is None:
        return None
    own, colour = np.unique(mesh.colours, axis=0, return_inverse=True)
    named = np.flatnonzero((own == list(bytes.fromhex(code[1:]))).all(axis=1))
    if len(named) == 0 or len(own) == 1:
        return None
    chosen, colour = int(named[0]), colour.reshape(-1).astype(np.int64)
    share = _evened(mesh.faces, colour, len(own))
    corner = colour[mesh.faces]
    # At each corner of a face, the greatest share of another of its colours over the chosen one's.
    there = share[mesh.faces[:, :, None], corner[:, None, :]]
    other = np.where(corner[:, None, :] == chosen, -np.inf, there).max(axis=2)
    values = np.where(np.isfinite(other), other - share[mesh.faces, chosen], -1.0)
    three = (corner != np.roll(corner, -1, axis=1)).all(axis=1)
    border = border_of(mesh.triangles, values, three)
    return None if border is None else Painted(mesh, chosen, colour, share, border)


def _evened(faces: IntArray, colour: IntArray, count: int) -> FloatArray:
    """Return the share of each colour at each corner of a mesh, (n, count), evened over those
    around, and each corner's own colour the greatest by `KEPT`."""
    number = len(colour)
    ends = directed_edges(faces)
    ends = np.vstack([ends, ends[:, ::-1]])
    near = sparse.csr_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(number, number))
    near.data[:] = 1.0
    near = sparse.diags(1 / np.maximum(np.asarray(near.sum(axis=1)).ravel(), 1)) @ near
    rows = np.arange(number)
    share = np.zeros((number, count))
    share[rows, colour] = 1.0
    for _ in range(ROUNDS):
        share = (share + near @ share) / 2
        own = share[rows, colour].copy()
        share[rows, colour] = -np.inf
        share[rows, colour] = np.maximum(own, share.max(axis=1) + KEPT)
    return share
