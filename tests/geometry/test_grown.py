"""A layer put on all over a mesh: volumes by Steiner's formula for what lies near a convex body."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from glowsim.geometry.body import solid_of
from glowsim.geometry.hollow import depth_mm, grown_mesh
from glowsim.geometry.mesh import Mesh, to_manifold
from glowsim.scene import parse_scene


@pytest.mark.parametrize("layer", [1.0, 5.0, 15.0])
def test_box_grows_by_steiners_formula(layer):
    """V + S d + pi d^2 (a + b + c) + 4/3 pi d^3 for a box: edges and corners come out round."""
    a, b, c = 30.0, 40.0, 20.0
    box = trimesh.creation.box((a, b, c))
    grown = grown_mesh(Mesh.single_part(box.vertices, box.faces), layer, "box")
    surface = 2 * (a * b + b * c + c * a)
    exact = a * b * c + surface * layer + np.pi * layer**2 * (a + b + c) + 4 / 3 * np.pi * layer**3
    assert grown.volume_mm3 == pytest.approx(exact, rel=0.01)
    np.testing.assert_allclose(grown.size_mm, np.array([a, b, c]) + 2 * layer, rtol=1e-3)
    to_manifold(grown, "grown box")


@pytest.mark.parametrize("layer", [1.0, 20.0])
def test_ball_grows_into_a_ball(layer):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=25)
    mesh = Mesh.single_part(ball.vertices, ball.faces)
    grown = grown_mesh(mesh, layer, "ball")
    np.testing.assert_allclose(np.linalg.norm(grown.vertices, axis=1), 25 + layer, rtol=0.005)
    np.testing.assert_allclose(-depth_mm(mesh, grown.centroids), layer, rtol=0.04)


def test_a_scene_grows_a_mesh_after_scaling(tmp_path):
    trimesh.creation.box((10, 10, 10)).export(tmp_path / "box.stl")
    scene = parse_scene(
        """
[[bodies]]
name = "box"
material = "upholstery_foam_white"
mesh = { file = "box.stl", units = "mm", scale = 2, grow_mm = 3 }
""",
        folder=tmp_path,
    )
    np.testing.assert_allclose(solid_of(scene, 0).outer.size_mm, 26, rtol=1e-3)
