"""Regions painted at the corners of a mesh: they end halfway between corners of two colours."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from glowsim.geometry.borders import Border, border_of, weights_on
from glowsim.geometry.cuts import BoolArray, Limit
from glowsim.geometry.mesh import FloatArray, Mesh
from glowsim.geometry.meshfile import read_named
from glowsim.scene.bodies import MeshFile


@dataclass(frozen=True)
class Painted:
    """A colour of a painted mesh.

    mesh   : as the file has it, with its colours;  chosen : (n,) bool, corners of the colour
    border : where it ends
    """

    mesh: Mesh
    chosen: BoolArray
    border: Border

    def covers(self, points: FloatArray) -> BoolArray:
        """Return at which points, (n, 3) [mm], the colour outweighs the others."""
        assert self.mesh.colours is not None
        face, weight = weights_on(self.mesh, points)
        corner = self.mesh.faces[face]
        colour = self.mesh.colours[corner]
        alike = (colour[:, :, None] == colour[:, None, :]).all(axis=3)
        strongest = np.einsum("njk,nk->nj", alike, weight).argmax(axis=1)
        return np.asarray(self.chosen[corner[np.arange(len(points)), strongest]])

    @property
    def limit(self) -> Limit:
        """Its border, other colours lying beyond."""
        return self.border.around(self.covers)


def painted_of(colour: str, mesh_file: MeshFile | None, folder: Path) -> Painted | None:
    """Return a colour, '#rrggbb', of a mesh file; None where its corners do not bear it, or all do:
    then it goes by whole faces."""
    mesh = None if mesh_file is None else read_named(mesh_file, folder)[0]
    if mesh is None or mesh.colours is None:
        return None
    chosen = (mesh.colours == list(bytes.fromhex(colour[1:]))).all(axis=1)
    colours = mesh.colours[mesh.faces]
    three = (colours != np.roll(colours, -1, axis=1)).any(axis=2).all(axis=1)
    border = border_of(mesh.triangles, np.where(chosen, -1.0, 1.0)[mesh.faces], three)
    return None if border is None else Painted(mesh, chosen, border)
