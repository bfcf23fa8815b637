"""Faces cut along the edges of an engraved line."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.cuts import Surface
from glowsim.geometry.lines import along_line_mm, cut_along_line
from glowsim.geometry.mesh import Mesh, from_manifold, to_manifold
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Slab

LINE = [[-20.0, 3.0, 6.0], [1.0, -5.0, 6.0], [20.0, 8.0, 6.0]]
WIDTH = 1.5


@pytest.fixture(scope="module")
def cut() -> tuple[Mesh, Mesh, np.ndarray]:
    """A block, the same with a line cut into its top, and which face each was."""
    block = shape_mesh(Slab(kind="slab", length_mm=60, width_mm=40, thickness_mm=6))
    fine = from_manifold(to_manifold(block, "block").refine_to_length(4.0))
    cut = cut_along_line(Surface.of(fine.vertices, fine.faces), LINE, WIDTH)
    return fine, Mesh.single_part(cut.vertices, cut.faces), cut.was


def test_the_surface_stays_closed_and_flat(cut):
    block, engraved, was = cut
    assert engraved.volume_mm3 == pytest.approx(block.volume_mm3, rel=1e-12)
    assert engraved.areas_mm2.sum() == pytest.approx(block.areas_mm2.sum(), rel=1e-12)
    edges = np.concatenate([engraved.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    ways, counts = np.unique(edges, axis=0, return_counts=True)
    assert (counts == 1).all()
    assert {tuple(way) for way in ways.tolist()} == {tuple(way[::-1]) for way in ways.tolist()}
    np.testing.assert_allclose(engraved.normals, block.normals[was], atol=1e-9)


def test_the_line_is_as_long_and_wide_as_drawn_without_slivers(cut):
    _, engraved, _ = cut
    within = along_line_mm(engraved.centroids, LINE) < WIDTH / 2
    points = np.array(LINE)
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    area = engraved.areas_mm2[within]
    # Its ends reach half its width beyond; where it turns, a corner more or less.
    assert area.sum() == pytest.approx((length + WIDTH) * WIDTH, rel=0.03)
    assert np.quantile(area, 0.05) > 0.01 * np.median(area)


def test_other_faces_stay_as_they_were(cut):
    block, engraved, was = cut
    far = along_line_mm(engraved.centroids, LINE) > 8
    np.testing.assert_array_equal(engraved.triangles[far], block.triangles[was[far]])
