"""How much of a body's surface each mask and each named region of the scene covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from glowsim.geometry.where import faces_where
from glowsim.scene import Body, Where
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
    skin = problem.skin
    areas = problem.walls.areas_mm2[skin]

    def covered(name: str, covers: str, where: Where) -> RegionCheck:
        faces = faces_where(where, problem.walls, problem.part, problem.part_names)[skin]
        area = float(areas[faces].sum())
        is_line = where.line_mm is not None
        return RegionCheck(name, covers, area, area / float(areas.sum()), is_line)

    checks = [
        covered(mask.name or f"mask {k + 1}", mask.coat, mask.where)
        for k, mask in enumerate(body.masks)
    ]
    for name, covers, where in (
        ("glow_where", "meant to glow", body.glow_where),
        ("dark_where", "must stay dark", body.dark_where),
    ):
        if where is not None:
            checks.append(covered(name, covers, where))
    return tuple(checks)


def too_small(regions: Sequence[RegionCheck]) -> list[str]:
    """Return what to say of regions that cover next to nothing."""
    return [
        f"{region.name} covers only {region.area_mm2:.3g} mm2, {100 * region.share:.2g} % of the "
        "surface; look at its limits"
        for region in regions
        if region.share < LITTLE and not (region.is_line and region.area_mm2 > 0)
    ]
