"""Faces cut at the limits of a region: its edge follows the limit, not the triangles."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.geometry.lines import ball as within_ball
from glowsim.geometry.lines import cut_along_level, height
from glowsim.geometry.mesh import Mesh, to_manifold
from tests.support.meshes import ball, block, mesh_of

BALL = ball(30, 3)
"""Of 1280 faces, 5 mm across."""


def below_mm2(level_mm):
    """Area of the same triangles below a height, by the boolean library."""
    solid = to_manifold(mesh_of(BALL), "ball")
    low = solid.trim_by_plane((0, 0, -1), -level_mm)
    return low.surface_area() - solid.slice(level_mm).area()


@pytest.mark.parametrize(
    ("level", "area_mm2", "off"),
    [
        (height(-11.3), below_mm2(-11.3), 0.01),
        (height(7.0), below_mm2(7.0), 0.01),
        # Of a round ball, what lies within r of one of its points has the area of a disc of r.
        # Its edge runs straight from cut to cut, some 25 of them, over flat faces: 2.1 % less.
        (within_ball([30, 0, 0], 12.4), np.pi * 12.4**2, 0.025),
    ],
    ids=["foot", "most", "dot"],
)
def test_areas_at_a_limit(level, area_mm2, off):
    whole = mesh_of(BALL)
    vertices, faces, was = cut_along_level(whole.vertices, whole.faces, level)
    cut = Mesh.single_part(vertices, faces)
    inside = level(cut.centroids) < 0
    # A cut nearer to a corner than a tenth of the edge is left out, so that there are no slivers.
    assert cut.areas_mm2[inside].sum() == pytest.approx(area_mm2, rel=off)
    across = level(vertices)[faces]
    over = np.minimum(across.max(axis=1), -across.min(axis=1))
    assert over.max() < 0.55  # a tenth of an edge, in mm; uncut faces reach over by half of one
    assert_allclose(to_manifold(cut, "cut").volume(), whole.volume_mm3, rtol=1e-3)
    assert_allclose(whole.normals[was], cut.normals, atol=1e-6)


def test_a_limit_that_nothing_crosses_leaves_the_surface_alone():
    cube = mesh_of(block((20, 20, 20)))
    for level in (height(10.0), height(-10.0), height(99.0)):
        vertices, faces, was = cut_along_level(cube.vertices, cube.faces, level)
        assert vertices is cube.vertices
        assert faces is cube.faces
        assert (was == np.arange(12)).all()


def test_a_flat_side_is_cut_exactly():
    cube = mesh_of(block((20, 20, 20)))
    vertices, faces, _ = cut_along_level(cube.vertices, cube.faces, height(3.7))
    cut = Mesh.single_part(vertices, faces)
    above = cut.centroids[:, 2] > 3.7
    assert_allclose(cut.areas_mm2[above].sum(), 400 + 80 * 6.3, rtol=1e-12)
