"""Flat slabs: one lies across a box of air, lit from above.

It is so wide that next to nothing leaves by its edge, so that it stands for an endless one; what
does leave there is counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from glowsim.geometry.patterns import placed
from glowsim.geometry.shapes import shape_mesh
from glowsim.optics.boundary import boundary_coefficient
from glowsim.optics.diffusion import diffusion_coefficient_mm
from glowsim.scene import Slab
from glowsim.transport.problem import AIR, BodyProblem, Medium
from tests.support.bodies import body, emitters, medium
from tests.support.monte_carlo import Share
from tests.support.solvers import Leaving

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

BEAM, DIFFUSE = 1e12, 1.0
"""Exponents of a beam of no spread and of Lambertian light."""
EDGE = 1e-4
"""Most light that may leave by the edge of a slab that stands for an endless one."""


def block(width_mm: float, thickness_mm: float, low_mm: float):
    """Return a flat box whose underside lies at height `low_mm`."""
    box = Slab(kind="slab", length_mm=width_mm, width_mm=width_mm, thickness_mm=thickness_mm)
    return shape_mesh(box).moved(placed((0, 0, low_mm), (0, 0, 0)))


def lit_slab(
    layers: Sequence[tuple[Medium, float]],
    *,
    exponent: float = BEAM,
    cos_incidence: float = 1.0,
    width: float | None = None,
    cells: int = 3,
) -> BodyProblem:
    """Return layers of medium and thickness [mm], the first on top, lit from above.

    exponent : of the beam; DIFFUSE gives Lambertian incidence
    width    : of all, in thicknesses; cells : across the thickness
    """
    thickness = sum(thick for _, thick in layers)
    wide = thickness * (width or max(_wide_enough(*layer) for layer in layers))
    air = 0.25 * thickness
    outer = block(wide, thickness + 2 * air, -air)
    inserts, top = [], thickness
    for _, thick in layers:
        inserts.append(block(wide, thick, top - thick))
        top -= thick
    slant = np.array([np.sqrt(1 - cos_incidence**2), 0.0, -cos_incidence])
    start = np.array([0.013, 0.007, 0.0]) * thickness + [0, 0, thickness + 0.01 * air]
    lights = emitters([start], direction=slant, exponent=exponent)
    media = [AIR, *(medium for medium, _ in layers)]
    return body(outer, media, lights, inserts=inserts, cell_mm=thickness / cells, face_mm=10 * wide)


def _wide_enough(material: Medium, thickness_mm: float) -> float:
    """Return how many thicknesses wide a slab must be: diffuse light falls off sideways as
    exp(-pi x / (d + 4 A D)); at the edge of this width to about a millionth."""
    mu_a, mu_s = material.mu_a_per_mm[1], material.mu_s_reduced_per_mm[1]
    if mu_s == 0:
        return 16.0
    a = float(boundary_coefficient(material.refractive_index))
    d_mm = float(diffusion_coefficient_mm(mu_a_per_mm=mu_a, mu_s_reduced_per_mm=mu_s))
    return min(40.0, 9.0 * (1 + 4 * a * d_mm / thickness_mm))


def slab(name: str, exponent: float) -> BodyProblem:
    """Return a slab of the table.

    Its lengths may be scaled: quick takes places within a micrometre for one.
    """
    mu_a, mu_s, g, n, thickness, *_ = SLABS[name]
    scale = max(1.0, 1.0 / thickness)
    material = medium(mu_a / scale, mu_s / scale * (1 - g), g, n)
    return lit_slab([(material, thickness * scale)], exponent=exponent)


def half_space(
    albedo: float, *, n: float = 1.0, exponent: float = BEAM, cos_incidence: float = 1.0
) -> BodyProblem:
    """Return an endless depth of isotropic scatterers, lengths in mean free paths.

    It ends where light has fallen to exp(-8); what comes back from there would have to do so
    twice.
    """
    depth = 8.0 / np.sqrt(3 * (1 - albedo))
    return lit_slab(
        [(medium(1 - albedo, albedo, 0.0, n), float(depth))],
        exponent=exponent,
        cos_incidence=cos_incidence,
        width=4.0,
        cells=12,
    )


def reflected_and_through(leaving: Leaving) -> tuple[Share, Share, Share]:
    """Return the shares that leave upwards, downwards and by the edge of the slab."""
    walls = leaving.problem.walls
    air = -walls.bounds[0, 2]
    thickness = walls.bounds[1, 2] - air
    height = walls.triangles[leaving.problem.skin][:, :, 2]
    up, down = height.min(axis=1) > thickness - 1e-6, height.max(axis=1) < 1e-6
    return leaving.leaves(up), leaving.leaves(down), leaving.leaves(~up & ~down)
