"""Exact scenes run on every solver; each solver states the range it claims."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from glowsim.transport.problem import BodyProblem
from glowsim.transport.quick import QuickBody


@dataclass(frozen=True)
class Leaving:
    """What leaves a body, as shares of the flux of light 0 in the middle band.

    per_face : (k,) float, diffuse and direct together, per face of the skin
    """

    problem: BodyProblem
    per_face: np.ndarray
    direct: np.ndarray
    absorbed: float
    in_coats: float

    @property
    def total(self) -> float:
        return float(self.per_face.sum())

    @property
    def exitance(self) -> np.ndarray:
        return self.per_face / self.problem.walls.areas_mm2[self.problem.skin]

    @property
    def centroids(self) -> np.ndarray:
        return self.problem.walls.centroids[self.problem.skin]

    def where(self, chosen: np.ndarray) -> float:
        return float(self.per_face[chosen].sum())


def quick(problem: BodyProblem) -> Leaving:
    response = QuickBody(problem).respond(problem.emitters)
    leaving = response.diffuse + response.direct
    return Leaving(
        problem,
        leaving[0, 1],
        response.direct[0, 1],
        float(response.absorbed[0, 1].sum()),
        float(response.in_coats[0, 1]),
    )


@pytest.fixture
def solve() -> Callable[[BodyProblem], Leaving]:
    return quick
