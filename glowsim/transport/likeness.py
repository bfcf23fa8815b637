"""What makes two bodies alike to light, so that what was learnt on one says something of another.

Light in scattering material depends on lengths in transport mean free paths: how thick the
material is, and how deep the lights lie in it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray
from glowsim.transport.problem import BodyProblem, Kind, Medium

ALIKE = 1.5
"""Thickness, depth and absorption of similar bodies differ by less than this factor."""


@dataclass(frozen=True)
class Likeness:
    """What a body is to light.

    materials : what scatters in it, by name
    hollow    : a shell, lit from the air within
    thickness : of its wall, or of its mean half chord, in transport lengths, thinnest band
    depth     : of its shallowest LED below the outer surface, in transport lengths; 0 in air
    absorption : of its darkest material in its darkest band, over what that scatters
    """

    materials: tuple[str, ...]
    hollow: bool
    thickness: float
    depth: float
    absorption: float

    def similar(self, other: Likeness) -> bool:
        """Return whether what holds for one is likely to hold for the other."""
        return (
            self.materials == other.materials
            and self.hollow == other.hollow
            and _near(self.thickness, other.thickness)
            and _near(self.depth, other.depth)
            and _near(self.absorption, other.absorption)
        )

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Likeness:
        """Read what `as_json` gave. Raises KeyError, TypeError or ValueError for anything else."""
        return cls(
            tuple(map(str, data["materials"])),
            bool(data["hollow"]),
            float(data["thickness"]),
            float(data["depth"]),
            float(data["absorption"]),
        )


def _near(one: float, other: float) -> bool:
    low, high = sorted((one, other))
    return high <= ALIKE * low or high == low


def likeness_of(problem: BodyProblem) -> Likeness:
    """Return what a body is to light."""
    cloudy = [r for r, m in enumerate(problem.media) if m.kind == Kind.SCATTERS]
    return Likeness(
        tuple(sorted({problem.media[r].name for r in cloudy})),
        problem.wall_mm is not None,
        min((thickness_of(problem, r) for r in cloudy), default=0.0),
        min((d for r in cloudy if (d := depth_of(problem, r)[1]) < np.inf), default=0.0),
        max((absorption_of(problem.media[r]).max() for r in cloudy), default=0.0),
    )


def absorption_of(medium: Medium) -> FloatArray:
    """Return what a medium absorbs over what it scatters, (3,) float."""
    return medium.mu_a_per_mm / np.maximum(medium.mu_s_reduced_per_mm, 1e-9)


def thickness_of(problem: BodyProblem, region: int) -> float:
    """Return how thick a region is in transport lengths, in its thinnest band.

    A shell is as thick as its wall, anything else as its mean half chord 2 V / S (Cauchy).
    """
    solid = problem.solids[region]
    if solid is None:
        return 0.0
    half_chord = 2 * solid.volume_mm3 / max(float(solid.areas_mm2.sum()), 1e-9)
    thickness_mm = problem.wall_mm if problem.wall_mm and region == 0 else half_chord
    return float(problem.media[region].mu_t_reduced_per_mm.min()) * thickness_mm


def depth_of(problem: BodyProblem, region: int) -> tuple[float, float]:
    """Return how deep a region's shallowest LED lies below the outer surface.

    In mm, and in transport lengths of the thinnest band; infinite without an LED.
    """
    mine = problem.emitters.region == region
    if not mine.any():
        return np.inf, np.inf
    depth, _, _ = nearest_on(problem.outer, problem.emitters.position[mine])
    depth_mm = float(depth.min())
    return depth_mm, depth_mm * float(problem.media[region].mu_t_reduced_per_mm.min())
