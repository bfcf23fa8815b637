"""How much of a body's surface each mask and each named region of the scene covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from glowsim.scene import Body
from glowsim.transport.problem import BodyProblem

LITTLE = 0.01
"""A region of a smaller share of the surface is probably not what was meant (common practice, no
source)."""


@dataclass(frozen=True)
class RegionCheck:
    """One region of a body's surface: what covers it, its area, and that as a share of all.

    is_line : drawn as a line, and so small on purpose
    """

    name: str
    covers: str
    area_mm2: float
    share: float
    is_line: bool = False


def region_checks(body: Body, problem: BodyProblem) -> tuple[RegionCheck, ...]:
    """Return the areas of a body's masks, of `glow_where` and of `dark_where`."""
    areas, named = problem.walls.areas_mm2, problem.named
    whole = float(areas[problem.skin].sum())
    words = [(mask.name or f"mask {k + 1}", mask.coat) for k, mask in enumerate(body.masks)]
    words += [("glow_where", "meant to glow")] * (body.glow_where is not None)
    words += [("dark_where", "must stay dark")] * (body.dark_where is not None)
    held = [*named.masks, *(faces for faces in (named.glow, named.dark) if faces is not None)]
    checks = []
    for (name, covers), (_, where), faces in zip(words, body.regions, held, strict=True):
        area = float(areas[faces].sum())
        checks.append(RegionCheck(name, covers, area, area / whole, where.line_mm is not None))
    return tuple(checks)


def too_small(regions: Sequence[RegionCheck]) -> list[str]:
    """Return what to say of regions that cover next to nothing."""
    return [
        f"{region.name} covers only {region.area_mm2:.3g} mm2, {100 * region.share:.2g} % of the "
        "surface; look at its limits"
        for region in regions
        if region.share < LITTLE and not (region.is_line and region.area_mm2 > 0)
    ]
