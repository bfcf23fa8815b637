"""Where the first light of LEDs goes: aimed at the walls of hollows, from just below a wall."""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.mesh import Mesh
from glowsim.geometry.rays import RayTarget
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Slab
from glowsim.transport import quick
from glowsim.transport.problem import AIR
from glowsim.transport.quick.aim import beams
from tests.support.bodies import body, emitters, medium

FOAM = medium(0.001, 1.0)
CUBE = Slab(kind="slab", length_mm=24, width_mm=24, thickness_mm=24)


def fanned_cube(half_mm: float) -> Mesh:
    """A cube whose sides are cut into four from their middles."""
    corners = half_mm * np.array(np.meshgrid(*3 * [[-1, 1]], indexing="ij")).reshape(3, 8).T
    vertices, faces = [*corners], []
    for axis in range(3):
        for sign in (-1, 1):
            side = [k for k in range(8) if corners[k, axis] * sign > 0]
            a, b, c, d = side if sign * (-1) ** axis > 0 else [side[k] for k in (0, 2, 1, 3)]
            middle = len(vertices)
            vertices.append(corners[side].mean(axis=0))
            faces += [(middle, one, two) for one, two in ((a, c), (c, d), (d, b), (b, a))]
    return Mesh.single_part(np.array(vertices), np.array(faces))


@pytest.mark.parametrize(
    ("exponent", "share"),
    [
        # Four pi over six of the two pi ahead; the view factor of a square of twice the distance's
        # width, 4 / (pi sqrt(2)) arctan(1 / sqrt(2)) (closed form of a plane element, from memory).
        (0.0, 1 / 3),
        (1.0, 4 / (np.pi * np.sqrt(2)) * np.arctan(1 / np.sqrt(2))),
    ],
)
def test_walls_that_the_horizon_of_a_light_crosses_get_their_share(exponent, share):
    low = np.array([0.0, 0.0, CUBE.thickness_mm / 2])
    hollow = fanned_cube(10.0)
    hollow = Mesh.single_part(hollow.vertices + low, hollow.faces)
    lights = emitters([low], region=1, exponent=exponent)
    problem = body(shape_mesh(CUBE), [FOAM, AIR], lights, inserts=[hollow], cell_mm=4, face_mm=40)
    target = RayTarget(problem.walls.triangles)
    (rays,) = beams(problem, target, lights, 64, 0)
    ahead = np.abs(rays.direction).argmax(axis=1) == 2
    assert rays.power[ahead, 0].sum() == pytest.approx(share, rel=2e-3)


def test_a_light_just_below_a_wall_is_below_it():
    top = CUBE.thickness_mm
    lights = emitters([[0, 0, top - 0.0005], [0, 0, top - 0.0015]])
    glow = quick.solve_body(body(shape_mesh(CUBE), [FOAM], lights, cell_mm=4, face_mm=8))
    out = glow.account.escaped.mean(axis=1)
    assert out[0] == pytest.approx(out[1], rel=2e-3)
