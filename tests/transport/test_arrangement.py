"""What the quick solver does to its figures last: grain averaged out, cores counted."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from glowsim.geometry.mesh import from_manifold, to_manifold
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Slab
from glowsim.transport.problem import ROOM
from glowsim.transport.quick.arrangement import Arrangement
from tests.support.bodies import medium, opaque


def test_averaging_keeps_a_glow_that_falls_off():
    """A Gaussian of deviation r raises exp(k x) by f = exp(k^2 r^2 / 2), done twice and given back
    (twicing) it leaves 2 f - f^2."""
    plate = shape_mesh(Slab(kind="slab", length_mm=120, width_mm=60, thickness_mm=20))
    mesh = from_manifold(to_manifold(plate, "plate").refine_to_length(2.5))
    surface = Patchwork(mesh, np.ones(len(mesh.faces), dtype=bool))
    radius_mm, k_per_mm = 5.0, 0.1
    glow = np.exp(k_per_mm * mesh.centroids[:, 0])
    calm = Arrangement.calmed(SimpleNamespace(skin=surface, calm_mm=radius_mm), glow)
    middle = (mesh.normals[:, 2] > 0.9) & (np.abs(mesh.centroids[:, :2]) < [20, 12]).all(axis=1)
    raised = np.exp((k_per_mm * radius_mm) ** 2 / 2)
    once = surface.smoothed(glow, radius_mm)
    assert np.mean((once / glow)[middle]) == pytest.approx(raised, rel=0.02)
    assert np.mean((calm / glow)[middle]) == pytest.approx(2 * raised - raised**2, rel=0.01)


def test_a_core_takes_what_meets_it_on_either_side_of_a_wall():
    problem = SimpleNamespace(
        media=[medium(0.01, 1.0), opaque(0.5)],
        inside=np.array([0, 1, 1, 0]),
        outside=np.array([1, 0, ROOM, ROOM]),
    )
    flux = np.array([[1.0, 2.0], [10.0, 20.0], [100.0, 200.0], [1000.0, 2000.0]])
    absorbed = np.zeros((2, 2))
    Arrangement._count_cores(SimpleNamespace(problem=problem), flux, absorbed)
    np.testing.assert_array_equal(absorbed, [[0, 11], [0, 22]])
