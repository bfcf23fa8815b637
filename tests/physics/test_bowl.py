"""A hemispherical bowl lit from inside: an integrating cavity that half its walls' light leaves.

From anywhere on a sphere its light falls evenly on the whole of the sphere, so of what a place of
the bowl sends back one half leaves by the mouth and the other falls on the bowl again.
"""

from __future__ import annotations

import numpy as np
import pytest

from glowsim.geometry.openings import Hollows
from glowsim.transport.problem import AIR
from tests.support import shells
from tests.support.bodies import body, emitters, medium, opaque
from tests.support.slabs import SLABS


def lit_bowl(material, radius, wall, cell_mm, face_mm, fine=64):
    """A bowl with an LED in the middle of its mouth, which shines into it alone."""
    shell = Hollows(shells.bowl(radius, wall, fine)).around(np.array([[0, 0, -wall]]), "bowl")
    lights = emitters([[0, 0, -0.01]], direction=(0, 0, -1), region=1)
    return body(
        shell.outer, [material, AIR], lights, inserts=[shell.hollow],
        cell_mm=cell_mm, face_mm=face_mm,
    )  # fmt: skip


@pytest.mark.parametrize("reflectance", [0.5, 0.9])
def test_light_out_of_the_mouth_of_an_opaque_bowl(solve, reflectance):
    """R f / (1 - R (1 - f)) with f = 1/2 (the integrating sphere equation, textbook)."""
    problem = lit_bowl(opaque(reflectance), 40.0, 2.0, 2.0, 8.0)
    mouth = problem.inside[problem.skin] == 1
    exact = reflectance / 2 / (1 - reflectance / 2)
    assert solve(problem, 100_000).leaves(mouth).agrees(exact, digits=3e-3 * exact, within=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["S3", "S15"])
def test_light_through_the_wall_of_a_bowl(solve, name):
    """The first hit is square on: UT1 + UR1 T / 2 / (1 - R / 2) goes through, with the flat wall's
    figures from the table (derived as for a large shell)."""
    mu_a, mu_s, g, n, wall, ur1, ut1, urd, utd = SLABS[name]
    problem = lit_bowl(
        medium(mu_a, mu_s * (1 - g), g, n), 27 * wall, wall, wall / 2, 2 * wall, fine=96
    )
    mouth = problem.inside[problem.skin] == 1
    leaving = solve(problem, 200_000)
    out = ur1 / 2 / (1 - urd / 2)
    assert leaving.leaves(mouth).agrees(out, digits=0.01 * out, within=0.02)
    through = ut1 + ur1 * utd / 2 / (1 - urd / 2)
    # Some of what enters near the rim leaves by its narrow top: it is counted with the wall's.
    assert leaving.leaves(~mouth).agrees(through, digits=0.01 * through, within=0.03)
