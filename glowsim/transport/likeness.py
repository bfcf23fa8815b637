"""What makes two bodies alike to light, so that what was learnt on one says something of another.

Light in scattering material depends on lengths in transport mean free paths: how thick the
material is, and how deep the lights lie in it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from glowsim.geometry.hollow import nearest_on
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.regions import ROOM
from glowsim.transport.problem import BodyProblem, Kind, Medium

ALIKE = 1.5
"""Thickness, depth and absorption of similar bodies differ by less than this factor."""


CLOSED = 0.02
"""A coat that lets through less than this share is there to stay dark."""


@dataclass(frozen=True)
class Likeness:
    """What a body is to light.

    materials : what scatters in it, by name
    hollow    : a shell, lit from the air within
    thickness : of its wall, or of its mean half chord, in transport lengths, thinnest band
    depth     : of its shallowest LED below the surface it lights, in transport lengths; 0 in air
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

    A shell is as thick as its wall, anything else as its mean half chord 2 V / S (Cauchy). What
    touches other scattering material counts together with it: light goes through both.
    """
    if problem.solids[region] is None:
        return 0.0
    if problem.wall_mm and region == 0:
        return float(problem.media[region].mu_t_reduced_per_mm.min()) * problem.wall_mm
    group = _touching(problem, region)
    inside, outside = (np.isin(side, group) for side in (problem.inside, problem.outside))
    surface_mm2 = float(problem.walls.areas_mm2[inside ^ outside].sum())
    solids = [(problem.media[r].mu_t_reduced_per_mm, problem.solids[r]) for r in group]
    lengths_mm2 = np.sum([mu_t * s.volume_mm3 for mu_t, s in solids if s is not None], axis=0)
    return 2 * float(lengths_mm2.min()) / max(surface_mm2, 1e-9)


def _touching(problem: BodyProblem, region: int) -> list[int]:
    """Return a region and all scattering regions joined to it face to face."""
    kinds = problem.kind_of(problem.inside), problem.kind_of(problem.outside)
    joint = (kinds[0] == Kind.SCATTERS) & (kinds[1] == Kind.SCATTERS)
    pairs = np.column_stack([problem.inside[joint], problem.outside[joint]])
    group = {region}
    for _ in problem.media:
        group |= set(pairs[np.isin(pairs, list(group)).any(axis=1)].ravel().tolist())
    return sorted(group)


def depth_of(problem: BodyProblem, region: int) -> tuple[float, float]:
    """Return how deep a region's shallowest LED lies below the surface it lights.

    In mm, and in transport lengths of the thinnest band; infinite without an LED. Faces that a
    coat closes do not count, nor those behind an LED: what is seen of it there is little.
    """
    mine = np.nonzero(problem.emitters.region == region)[0]
    if len(mine) == 0:
        return np.inf, np.inf
    faces = _open_faces(problem)
    triangles = problem.walls.vertices[problem.walls.faces[faces]]
    middle = problem.walls.centroids[faces]
    reach_mm = np.linalg.norm(triangles - middle[:, None], axis=2).max(axis=1, initial=0.0)
    depth_mm = min(_depth_mm(problem, triangles, middle, reach_mm, int(led)) for led in mine)
    return depth_mm, depth_mm * float(problem.media[region].mu_t_reduced_per_mm.min())


def _open_faces(problem: BodyProblem) -> IntArray:
    """Return the numbers of the faces on the room that no coat closes."""
    through = np.array([layer.transmittance.max() for layer in problem.layers] + [1.0])
    kinds = problem.kind_of(problem.inside)
    is_open = (through[problem.coat] >= CLOSED) & (kinds != Kind.OPAQUE)
    return np.nonzero((problem.outside == ROOM) & is_open)[0]


def _depth_mm(
    problem: BodyProblem, triangles: FloatArray, middle: FloatArray, reach_mm: FloatArray, led: int
) -> float:
    """Return the distance of an LED from triangles before it, infinite if there are none.

    triangles : (m, 3, 3) float, that reach `reach_mm`, (m,), from their middles, (m, 3) [mm]
    """
    place, way = problem.emitters.position[led], problem.emitters.direction[led]
    off = middle - place
    away = np.where(off @ way > 0, np.sqrt(np.einsum("md,md->m", off, off)), np.inf)
    nearest = away.min(initial=np.inf)
    if nearest == np.inf:
        return np.inf
    # No triangle lies nearer than its middle less its reach.
    near = triangles[away - reach_mm <= nearest]
    seen = Mesh.single_part(near.reshape(-1, 3), np.arange(3 * len(near)).reshape(-1, 3))
    return float(nearest_on(seen, place[None])[0][0])
