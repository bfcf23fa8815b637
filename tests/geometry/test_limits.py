"""Faces cut at the limits of a region: its edge follows the limit, not the triangles."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from glowsim.geometry.cuts import Surface, cut_at, height
from glowsim.geometry.cuts import ball as within_ball
from glowsim.geometry.mesh import Mesh, to_manifold
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Rod
from tests.support.meshes import ball, block, mesh_of

BALL = ball(30, 3)
"""Of 1280 faces, 5 mm across."""


def cut_mesh(whole, *limits):
    surface = Surface.of(whole.vertices, whole.faces)
    for limit in limits:
        surface = cut_at(surface, limit)
    return Mesh.single_part(surface.vertices, surface.faces), surface


def within_mm2(cut, limit):
    return cut.areas_mm2[limit.beyond(cut.centroids) < 0].sum()


def below_mm2(level_mm):
    """Area of the same triangles below a height, by the boolean library."""
    solid = to_manifold(mesh_of(BALL), "ball")
    low = solid.trim_by_plane((0, 0, -1), -level_mm)
    return low.surface_area() - solid.slice(level_mm).area()


@pytest.mark.parametrize(
    ("limit", "area_mm2", "off"),
    [
        (height(-11.3), below_mm2(-11.3), 1e-4),
        (height(7.0), below_mm2(7.0), 1e-4),
        # Of a round ball, what lies within r of one of its points has the area of a disc of r; the
        # flat faces of this one leave 0.6 % of that out, the chords of its edge another 0.1 %.
        (within_ball([30, 0, 0], 12.4), np.pi * 12.4**2, 0.008),
    ],
    ids=["foot", "most", "dot"],
)
def test_areas_at_a_limit(limit, area_mm2, off):
    whole = mesh_of(BALL)
    cut, surface = cut_mesh(whole, limit)
    assert within_mm2(cut, limit) == pytest.approx(area_mm2, rel=off)
    across = limit.beyond(cut.vertices)[cut.faces]
    over = np.minimum(across.max(axis=1), -across.min(axis=1))
    assert over.max() < 0.005  # a thousandth of an edge, in mm
    assert_allclose(to_manifold(cut, "cut").volume(), whole.volume_mm3, rtol=3e-5)
    assert (np.einsum("md,md->m", whole.normals[surface.was], cut.normals) > 0.9998).all()


def test_a_dot_on_two_triangles_has_the_area_of_its_disc():
    cube = mesh_of(block((20, 20, 20)))
    dot = within_ball([1, 2, 10], 3)
    cut, _ = cut_mesh(cube, dot)
    assert within_mm2(cut, dot) == pytest.approx(9 * np.pi, rel=1e-3)
    assert len(cut.faces) < 1300
    assert_allclose(cut.areas_mm2.sum(), 2400, rtol=1e-12)


def test_a_later_cut_leaves_an_earlier_one_where_it_is():
    """Corners lie on the first cut; one so near to it as the second would draw them onto itself."""
    rod = shape_mesh(Rod(kind="rod", length_mm=36, diameter_mm=22))
    limits = [height(mm) for mm in (10.0, 10.4, 9.9)]
    cut, _ = cut_mesh(rod, *limits)
    foot = rod.areas_mm2[rod.normals[:, 2] < -0.9].sum()
    side = rod.areas_mm2[np.abs(rod.normals[:, 2]) < 0.1].sum()
    for limit, mm in zip(limits, (10.0, 10.4, 9.9), strict=True):
        assert within_mm2(cut, limit) == pytest.approx(foot + side * mm / 36, rel=1e-9)


def test_a_limit_that_nothing_crosses_leaves_the_surface_alone():
    cube = mesh_of(block((20, 20, 20)))
    for level_mm in (10.0, -10.0, 99.0):
        surface = Surface.of(cube.vertices, cube.faces)
        assert cut_at(surface, height(level_mm)) is surface


def test_only_the_faces_that_were_asked_for_are_cut():
    cube = mesh_of(block((20, 20, 20)))
    front = cube.normals[:, 1] < -0.9
    surface = cut_at(Surface.of(cube.vertices, cube.faces), height(3.7), front)
    counts = np.bincount(surface.was, minlength=12)
    assert (counts[front] > 1).all()
    assert (counts[np.abs(cube.normals[:, 2]) > 0.9] == 1).all()


def test_a_flat_side_is_cut_exactly():
    cube = mesh_of(block((20, 20, 20)))
    cut, _ = cut_mesh(cube, height(3.7))
    above = cut.centroids[:, 2] > 3.7
    assert_allclose(cut.areas_mm2[above].sum(), 400 + 80 * 6.3, rtol=1e-12)
