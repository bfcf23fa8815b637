"""The solver read backwards agrees with the forward solve, light by light and patch by patch."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.mesh import Mesh
from glowsim.transport.problem import BodyProblem, Kind, Layer, Medium
from glowsim.transport.quick import QuickBody
from glowsim.transport.quick.adjoint import Adjoint
from tests.support.bodies import body, emitters, shell
from tests.support.meshes import ball, block, mesh_of

CLOUD = Medium("cloud", Kind.SCATTERS, np.array([0.01, 0.02, 0.05]), np.full(3, 1.0), 0.5, 1.4)
PAINT = Layer("paint", np.full(3, 0.4), np.full(3, 0.3), 0.05)


def octants(problem: BodyProblem) -> np.ndarray:
    """Return the octant of each face of the skin."""
    places = problem.walls.centroids[problem.skin]
    return (places > 0) @ np.array([1, 2, 4])


def solid(layers: tuple[Layer, ...] = ()) -> BodyProblem:
    lights = emitters([[0, 0, 0], [3, 1, -2]], (0, 0.6, 0.8))
    return body(mesh_of(ball(10, 3)), [CLOUD], lights, cell_mm=1.5, face_mm=3.0, layers=layers)


def hollow() -> BodyProblem:
    lights = emitters([[0, 0, 0], [3, 1, -2]], (0, 0.6, 0.8), region=1)
    return shell(mesh_of(ball(20, 3)), CLOUD, 3.0, lights, cell_mm=2.0, face_mm=6.0)


def with_core() -> BodyProblem:
    wood = Medium("wood", Kind.OPAQUE, np.zeros(3), np.zeros(3), reflectance=np.full(3, 0.5))
    core: Mesh = mesh_of(block((4, 4, 4), (4, 0, 0)))
    lights = emitters([[-3, 0, 0], [0, 5, 2]], (1, 0, 0))
    return body(
        mesh_of(ball(10, 3)), [CLOUD, wood], lights, inserts=[core], cell_mm=1.5, face_mm=3.0
    )


def painted() -> BodyProblem:
    return solid((PAINT,))


@pytest.mark.parametrize("make", [solid, painted, with_core, hollow])
def test_backward_equals_forward(make):
    problem = make()
    quick = QuickBody(problem)
    patch = octants(problem)
    forward = quick.respond(problem.emitters)
    leaving = forward.diffuse + forward.direct
    wanted = np.stack([leaving[:, :, patch == k].sum(axis=2) for k in range(8)], axis=2)
    found = Adjoint(quick, patch).respond(problem.emitters, 16_384)
    # The hollow's rays aim at coarser walls for speed; all else differs by the solves' residuals.
    close = 0.02 if problem.kind_of(problem.emitters.region)[0] == Kind.AIR else 1e-3
    np.testing.assert_allclose(found, wanted, rtol=close)


def test_patches_left_out_count_for_nothing():
    problem = solid()
    patch = np.where(octants(problem) == 3, 0, -1)
    quick = QuickBody(problem)
    forward = quick.respond(problem.emitters)
    found = Adjoint(quick, patch).respond(problem.emitters, 16_384)
    assert found.shape == (2, 3, 1)
    wanted = (forward.diffuse + forward.direct)[:, :, patch == 0].sum(axis=2)
    np.testing.assert_allclose(found[:, :, 0], wanted, rtol=1e-3)


def test_field_at_a_point_is_the_response_to_light_scattered_there():
    problem = solid()
    adjoint = Adjoint(QuickBody(problem), octants(problem))
    # In the middle of a ball, light that scatters anew leaves evenly on all sides.
    middle = adjoint.at(np.zeros((1, 3)), np.ones((3, 8)))[0]
    isotropic = emitters([[0, 0, 0]], both_ways=True)
    total = adjoint.respond(isotropic, 4096).sum()
    # What a point light scatters first does so about a mean free path away: a little more escapes.
    assert middle < total < 1.1 * middle


def test_light_anywhere_in_a_hollow_is_read_from_its_walls():
    problem = hollow()
    adjoint = Adjoint(QuickBody(problem), octants(problem))
    points = np.array([[0, 0, 0], [8, 2, -3], [-11, 4, 6], [2, -13, 5.0]])
    weight = np.random.default_rng(1).random((3, 8)) - 0.3
    traced = adjoint.respond(emitters(points, both_ways=True, region=1), 20_000, 20_000)
    wanted = np.einsum("nbp,bp->n", traced, weight)
    read = adjoint.in_air(points, weight, 4000)
    # What falls on walls evenly from all sides is reflected a little more than what falls straight.
    np.testing.assert_allclose(read, wanted, rtol=0.1)
    np.testing.assert_allclose(read / read.mean(), wanted / wanted.mean(), rtol=0.03)
