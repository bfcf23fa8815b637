"""The walls of a body as the quick solver meets them: rays, hollows, smoothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.geometry.rays import RayTarget
from glowsim.geometry.regions import ROOM
from glowsim.geometry.rows import unique_rows
from glowsim.transport.problem import BodyProblem, Medium
from glowsim.transport.quick.cavity import Cavity, cavity_of


@dataclass(frozen=True)
class Surfaces:
    """What depends on the walls of a body alone: not on its optics, its grid or its lights.

    kind   : (faces,) int; faces of one kind behave alike whatever the materials are
    target : the walls, ready for rays;  cavity : how walls of hollows see each other, or None
    skin   : faces on the room and how they join
    """

    kind: IntArray
    target: RayTarget
    cavity: Cavity | None
    skin: Patchwork


def surfaces_of(problem: BodyProblem, seed: int) -> Surfaces:
    """Return the surfaces of a body."""
    target = RayTarget.of(problem.walls)
    kind = wall_kinds(problem)
    return Surfaces(
        kind,
        target,
        cavity_of(problem, target, kind, seed),
        Patchwork(problem.walls, problem.outside == ROOM, kind),
    )


def wall_kinds(problem: BodyProblem) -> IntArray:
    """Return a number for each wall face: equal where coat and media on both sides are equal."""
    medium = np.array([*media_alike(problem), ROOM])
    table = np.column_stack([medium[problem.inside], medium[problem.outside], problem.coat])
    return unique_rows(table)[1]


def media_alike(problem: BodyProblem) -> list[int]:
    """Return for each region the first region of the same material."""
    media = [as_numbers(medium) for medium in problem.media]
    return [next(k for k in range(len(media)) if np.array_equal(media[k], mine)) for mine in media]


def as_numbers(medium: Medium) -> FloatArray:
    """Return all that a medium is to light, (n,) float."""
    none = np.full(3, -1.0)
    return np.concatenate(
        [
            [medium.kind, medium.g, medium.refractive_index],
            *(medium.mu_a_per_mm, medium.mu_s_reduced_per_mm),
            none if medium.reflectance is None else medium.reflectance,
        ]
    )
