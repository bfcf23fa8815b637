"""Regions painted at the corners of a mesh: they end halfway between corners of two colours."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from trimesh.triangles import points_to_barycentric

from glowsim.geometry.cuts import BoolArray, Limit
from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.meshfile import read_named
from glowsim.scene.bodies import MeshFile

EDGE_SHARE = 0.5
"""Edge of the faces along a border, over that of the painted faces it runs through, as a rule."""


@dataclass(frozen=True)
class Painted:
    """A colour of a painted mesh.

    mesh    : as the file has it, with its colours;  chosen : (n,) bool, corners of the colour
    border  : places along its border, no farther apart than `edge_mm`
    edge_mm : how fine faces along it are made
    """

    mesh: Mesh
    chosen: BoolArray
    border: cKDTree
    edge_mm: float

    def covers(self, points: FloatArray) -> BoolArray:
        """Return at which points, (n, 3) [mm], the colour outweighs the others."""
        mesh = self.mesh
        assert mesh.colours is not None
        _, nearest, face = nearest_on(mesh, points)
        weight = np.nan_to_num(points_to_barycentric(mesh.triangles[face], nearest), nan=1 / 3)
        corner = mesh.faces[face]
        colour = mesh.colours[corner]
        alike = (colour[:, :, None] == colour[:, None, :]).all(axis=3)
        strongest = np.einsum("njk,nk->nj", alike, weight).argmax(axis=1)
        return np.asarray(self.chosen[corner[np.arange(len(points)), strongest]])

    @property
    def limit(self) -> Limit:
        """Its border, other colours lying beyond."""
        return Limit(self._beyond, self.edge_mm)

    def _beyond(self, points: FloatArray) -> FloatArray:
        apart, _ = self.border.query(points)
        side = np.where(self.covers(points), -1.0, 1.0)
        return np.asarray(side * np.maximum(apart - self.edge_mm / 2, 1e-9))


def painted_of(colour: str, mesh_file: MeshFile | None, folder: Path) -> Painted | None:
    """Return a colour, '#rrggbb', of a mesh file; None where its corners do not bear it, or all do:
    then it goes by whole faces."""
    mesh = None if mesh_file is None else read_named(mesh_file, folder)[0]
    if mesh is None or mesh.colours is None:
        return None
    chosen = (mesh.colours == list(bytes.fromhex(colour[1:]))).all(axis=1)
    mixed = np.ptp(chosen[mesh.faces].astype(int), axis=1) > 0
    if not mixed.any():
        return None
    corners, mine = mesh.triangles[mixed], chosen[mesh.faces[mixed]]
    edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
    edge_mm = max(EDGE_SHARE * float(np.median(edges)), 1e-3)
    parted = mine != np.roll(mine, -1, axis=1)
    ends = ((corners + np.roll(corners, -1, axis=1)) / 2)[parted].reshape(-1, 2, 3)
    places = _along(ends, edge_mm)
    colours = mesh.colours[mesh.faces[mixed]]
    three = (colours != np.roll(colours, -1, axis=1)).any(axis=2).all(axis=1)
    for k in (0, 1):  # three colours meet in the middle of a face
        middle = corners[three].mean(axis=1)
        places += _along(np.stack([ends[three, k], middle], axis=1), edge_mm)
    return Painted(mesh, chosen, cKDTree(np.vstack(places)), edge_mm)


def _along(ends: FloatArray, step_mm: float) -> list[FloatArray]:
    """Return places along stretches, (k, 2, 3), no farther apart than `step_mm`."""
    longest = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max(initial=0.0))
    shares = np.linspace(0.0, 1.0, int(np.ceil(longest / step_mm)) + 1)
    return [ends[:, 0] + share * (ends[:, 1] - ends[:, 0]) for share in shares]
