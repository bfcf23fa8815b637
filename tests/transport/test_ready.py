"""A body prepared once serves wherever lights alone differ, and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from glowsim.transport.problem import BodyProblem, Kind, Medium
from glowsim.transport.quick import QuickBody, solve_body
from tests.support.bodies import body, emitters
from tests.support.meshes import ball, mesh_of

CLOUD = Medium("cloud", Kind.SCATTERS, np.array([0.01, 0.02, 0.05]), np.full(3, 1.0), 0.5, 1.4)


def problem(place: tuple[float, float, float] = (0, 0, 0), medium: Medium = CLOUD) -> BodyProblem:
    return body(mesh_of(ball(10, 3)), [medium], emitters([place]), cell_mm=2.0, face_mm=4.0)


def test_a_moved_light_is_solved_the_same_on_what_is_ready():
    moved = problem((3, 1, -2))
    ready = QuickBody(problem())
    assert ready.serves(moved)
    fresh, again = solve_body(moved), solve_body(moved, ready=ready)
    np.testing.assert_array_equal(fresh.diffuse, again.diffuse)
    np.testing.assert_array_equal(fresh.direct, again.direct)
    assert fresh.light_mm[0, 0] == pytest.approx(3)


@pytest.mark.parametrize(
    "other",
    [
        problem(medium=replace(CLOUD, g=0.6)),
        problem(medium=replace(CLOUD, mu_a_per_mm=np.array([0.01, 0.02, 0.051]))),
        replace(problem(), cell_mm=1.9),
        replace(problem(), coat=np.zeros_like(problem().coat)),
        body(mesh_of(ball(10.1, 3)), [CLOUD], emitters([[0, 0, 0]]), cell_mm=2.0, face_mm=4.0),
    ],
    ids=["g", "absorption", "cells", "coat", "shape"],
)
def test_another_body_is_prepared_anew(other):
    assert not QuickBody(problem()).serves(other)


def test_another_seed_is_prepared_anew():
    assert not QuickBody(problem(), seed=1).serves(problem())
