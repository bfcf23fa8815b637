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
from tests.support.solvers import quick, reference


def lit_bowl(material, radius, wall, cell_mm, face_mm, fine):
    """A bowl with an LED in the middle of its mouth, which shines into it alone."""
    shell = Hollows(shells.bowl(radius, wall, fine)).around(np.array([[0, 0, -wall]]), "bowl")
    lights = emitters([[0, 0, -0.01]], direction=(0, 0, -1), region=1)
    return body(
        shell.outer, [material, AIR], lights, inserts=[shell.hollow],
        cell_mm=cell_mm, face_mm=face_mm,
    )  # fmt: skip


@pytest.mark.slow_for("reference")
def test_light_out_of_the_mouth_of_an_opaque_bowl(solve):
    """R f / (1 - R (1 - f)) with f = 1/2 (the integrating sphere equation, textbook)."""
    reflectance = 0.9
    problem = lit_bowl(opaque(reflectance), 40.0, 2.0, 4.0, 8.0, fine=48)
    mouth = problem.inside[problem.skin] == 1
    exact = reflectance / 2 / (1 - reflectance / 2)
    assert solve(problem, 100_000).leaves(mouth).agrees(exact, digits=3e-3 * exact, within=0.01)


@pytest.mark.slow
def test_light_through_the_wall_of_a_bowl():
    """Quick against the reference: what a wall sends back leans toward its normal, and so out of
    the mouth from the bottom, which no closed form has."""
    mu_a, mu_s, g, n, wall, *_ = SLABS["S3"]
    material = medium(mu_a, mu_s * (1 - g), g, n)
    problem = lit_bowl(material, 27 * wall, wall, wall / 2, 2 * wall, fine=96)
    mouth = problem.inside[problem.skin] == 1
    told, truth = quick(problem), reference(problem, 150_000)
    for faces, within in ((mouth, 0.05), (~mouth, 0.03)):
        exact = truth.leaves(faces)
        digits = 3 * exact.error + within * exact.mean
        assert told.leaves(faces).mean == pytest.approx(exact.mean, abs=digits)
