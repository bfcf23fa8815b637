"""What holds a light board in air: it gets as warm as the board, and is in no scene."""

from __future__ import annotations

from glowsim.catalogue import Catalogue
from glowsim.electrics.heat_body import HeatBody
from glowsim.errors import did_you_mean
from glowsim.transport.plan import Plan

USUAL = {
    "pla_natural": "printed PLA",
    "hot_glue": "hot glue",
    "petg_natural": "printed PETG",
    "wood_dowel": "wood",
}
"""What makers hold boards with, by its entry in the catalogue."""


def in_air(body: HeatBody, board: int) -> bool:
    """Return whether nothing but air touches a board of a body."""
    touching = body.touching(body.boards[board])
    return bool(touching) and all(body.lump[region] >= 0 for region in touching)


def service_c(catalogue: Catalogue, name: str) -> float | None:
    """Return the warmest a material or coat should be for long, None where that is not known."""
    return (catalogue.materials.get(name) or catalogue.coat(name)).max_service_c


def holder_of(plan: Plan) -> tuple[str, float] | None:
    """Return the scene's holder and what it bears [C]; None where the scene names none.

    Raises SceneError where it is unknown, or where nobody says how warm it may get.
    """
    name = plan.scene_file.scene.heat.holder
    if not name:
        return None
    catalogue, at = plan.catalogue, ("heat", "holder")
    known = {*catalogue.materials, *catalogue.coats}
    if name not in known:
        why = f"there is no material or coat '{name}'{did_you_mean(name, known)}"
        raise plan.scene_file.fault(at, why)
    limit = service_c(catalogue, name)
    if limit is None:
        raise plan.scene_file.fault(
            at, f"'{name}' does not say how warm it may get; give it max_service_c"
        )
    return name, limit


def said_of_holder(catalogue: Catalogue, body: str, board_c: float, full_c: float) -> str:
    """Return what to know of whatever holds a board of `body` in air, which may be anything."""
    limits = ", ".join(
        f"{words} {limit:.0f}"
        for name, words in USUAL.items()
        if (limit := service_c(catalogue, name)) is not None
    )
    return (
        f"{body}: a board hangs in air, and what holds it (stick, clamp, printed holder) gets as "
        f"warm as it does: {board_c:.0f} °C, at full white {full_c:.0f} °C. Continuous limits: "
        f"{limits} "
        '°C (holder = "pla_natural" in [heat] counts it among the limits)'
    )
