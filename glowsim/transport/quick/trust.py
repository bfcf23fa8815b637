"""How far the quick solver can be trusted on a body: what its approximations rest on.

Limits follow from comparison with exact slabs and with Monte Carlo spheres (see the tests in
tests/physics): diffusion holds within a few percent for walls thicker than three transport
lengths with little absorption, and degrades below.
"""

from __future__ import annotations

from glowsim.transport.likeness import absorption_of, depth_of, thickness_of
from glowsim.transport.problem import BodyProblem, Kind

THIN = 3.0
"""A wall thinner than this many transport mean free paths is thin for diffusion."""
DARK = 0.1
"""Absorption above this share of the reduced scattering is strong for diffusion."""
NEAR = 2.0
"""A light within this many transport lengths of the outer surface is close."""


def trust_of(problem: BodyProblem, direct_share: float) -> tuple[str, ...]:
    """Return what makes quick a rough guide on this body; empty where it can be trusted.

    direct_share : share of the flux that leaves unscattered.
    """
    cautions = []
    for region, medium in enumerate(problem.media):
        solid = problem.solids[region]
        if medium.kind != Kind.SCATTERS or solid is None:
            continue
        thickness = thickness_of(problem, region)
        if thickness < THIN:
            cautions.append(
                f"{medium.name}: only {thickness:.2g} transport lengths thick "
                f"(quick needs {THIN:g})"
            )
        dark = absorption_of(medium)
        if dark.max() > DARK:
            band = ("red", "green", "blue")[int(dark.argmax())]
            cautions.append(
                f"{medium.name}: absorbs {dark.max():.2g} times what it scatters in {band} "
                f"(quick needs below {DARK:g})"
            )
        depth_mm, depth = depth_of(problem, region)
        if thickness > 0 and depth < NEAR:
            cautions.append(
                f"a light lies {depth_mm:.1f} mm below the surface, "
                f"{depth:.2g} transport lengths (quick needs {NEAR:g})"
            )
    if direct_share > 0.05:
        cautions.append(
            f"{100 * direct_share:.0f} % of the light leaves without scattering: the bare LEDs show"
        )
    return tuple(cautions)
