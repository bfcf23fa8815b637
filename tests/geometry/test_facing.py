"""Regions that face one way: their border runs where the surface turns, not along its triangles."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.shapes import shape_mesh
from glowsim.geometry.where import Region, region_on
from glowsim.scene import Rod, Slab, Where
from tests.support.meshes import held_on

COARSE = trimesh.creation.icosphere(subdivisions=2, radius=20)
BALL = Mesh.single_part(COARSE.vertices, COARSE.faces)
"""Of 320 faces, 18 degrees across."""


def area_mm2(mesh: Mesh, region: Region) -> float:
    cut, held = held_on(mesh, region)
    return float(cut.areas_mm2[held].sum())


@pytest.mark.parametrize("within_deg", [33, 90, 120])
def test_a_cap_of_a_ball(within_deg):
    """Archimedes; by whole faces the cap of 33 degrees of this ball is 5 % too large."""
    where = Where(facing=(1, -1, 0.5), facing_within_deg=within_deg)
    share = (1 - np.cos(np.radians(within_deg))) / 2
    area = area_mm2(BALL, region_on(BALL, where, Path()))
    assert area == pytest.approx(share * BALL.areas_mm2.sum(), rel=3e-3)


def test_a_strip_of_a_rod():
    rod = shape_mesh(Rod(kind="rod", length_mm=40, diameter_mm=20))
    where = Where(facing=(1, 0, 0), facing_within_deg=47)
    area = area_mm2(rod, region_on(rod, where, Path()))
    assert area == pytest.approx(2 * np.radians(47) * 10 * 40, rel=2e-3)


def test_flat_sides_go_by_whole_faces():
    slab = shape_mesh(Slab(kind="slab", length_mm=40, width_mm=20, thickness_mm=4))
    region = region_on(slab, Where(facing=(1, 0, 0)), Path())
    assert region.facing is None
    assert area_mm2(slab, region) == pytest.approx(80)
