"""Flat slabs for the reference solver: one lies across a box of air, lit from above.

The slab is so wide that next to nothing leaves by its edge; what does is counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.scene import Slab
from glowsim.transport.problem import AIR, BodyProblem, Medium
from glowsim.transport.reference import Tallies
from tests.support.bodies import body, emitters
from tests.support.monte_carlo import Share, leaving

_TABLE = Path(__file__).parent.parent / "optics" / "slabs.csv"
SLABS = {
    name: tuple(map(float, numbers))
    for name, *numbers in (
        line.split(",")
        for line in _TABLE.read_text(encoding="utf-8").splitlines()
        if not line.startswith("#")
    )
}
"""mu_a, mu_s, g, n, d, UR1, UT1, URU, UTU by name; the source stands in the file."""

BEAM = 1e12
"""Exponent of a beam of no spread."""


def block(width_mm: float, thickness_mm: float, low_mm: float):
    """Return a flat box whose underside lies at height `low_mm`."""
    box = Slab(kind="slab", length_mm=width_mm, width_mm=width_mm, thickness_mm=thickness_mm)
    return shape_mesh(box).moved(placed((0, 0, low_mm), (0, 0, 0)))


def lit_slab(
    layers: Sequence[tuple[Medium, float]],
    *,
    exponent: float = BEAM,
    cos_incidence: float = 1.0,
    width: float = 150.0,
) -> BodyProblem:
    """Return layers of medium and thickness [mm], the first on top, lit from above.

    exponent : of the beam; 1 gives Lambertian incidence.  width : of all, in thicknesses
    """
    thickness = sum(thick for _, thick in layers)
    wide, air = width * thickness, 0.25 * thickness
    outer = block(wide, thickness + 2 * air, -air)
    inserts, top = [], thickness
    for _, thick in layers:
        inserts.append(block(wide, thick, top - thick))
        top -= thick
    slant = np.array([np.sqrt(1 - cos_incidence**2), 0.0, -cos_incidence])
    start = np.array([0.013, 0.007, 0.0]) * thickness + [0, 0, thickness + 0.01 * air]
    lights = emitters([start], direction=slant, exponent=exponent)
    media = [AIR, *(medium for medium, _ in layers)]
    return body(outer, media, lights, inserts=inserts, cell_mm=thickness, face_mm=10 * wide)


def reflected_and_through(problem: BodyProblem, tallies: Tallies) -> tuple[Share, Share, Share]:
    """Return the shares that leave upwards, downwards and by the edge of the slab."""
    low = problem.walls.bounds[0, 2]
    air = -low
    height = problem.walls.triangles[problem.skin][:, :, 2]
    thickness = problem.walls.bounds[1, 2] - air
    up, down = height.min(axis=1) > thickness - 1e-6, height.max(axis=1) < 1e-6
    return leaving(tallies, up), leaving(tallies, down), leaving(tallies, ~up & ~down)
