"""What could hurt: heat in a buried board, glare. Figures of this prop before the usual words."""

from __future__ import annotations

from glowsim.catalogue.cautions import all_cautions
from glowsim.findings.luminance import Look
from glowsim.scene import Scene
from glowsim.transport.result import SurfaceGlow

GLARE_CD_M2 = 2000.0
"""Mean luminance above which a large face is unpleasant to look into indoors (common practice,
no source)."""
BARE_CD_M2 = 10_000.0
"""Luminance of the brightest place above which IEC 62471 wants white light looked into more closely
(from memory of that standard): a bare LED that shows."""


def cautions_of(glow: SurfaceGlow, looks: tuple[Look, ...], scene: Scene) -> tuple[str, ...]:
    """Return the cautions a glow calls for."""
    cautions = []
    limit = scene.findings.buried_power_w
    hot = [light for light in glow.lights if light.power_w > limit]
    if hot:
        most = max(hot, key=lambda light: light.power_w)
        cautions.append(
            f"Heat: {len(hot)} of {len(glow.lights)} boards draw more than {limit:g} W as driven "
            f"(up to {most.power_w:.2g} W, {most.name}). Nearly all of it becomes heat, and foam "
            "or thick resin carries little away: 0.1 to 0.3 W on average is the limit of a board "
            f"buried in 40 mm of foam. The {limit:g} W are a rule of thumb for any buried board; "
            "`glowsim heat` works out the limit of each in this scene: go by that. "
            f"{all_cautions()['heat'].text}"
        )
    for look in looks:
        area = look.body.surface.areas_mm2[look.glows]
        mean = float((look.luminance_cd_m2[look.glows] * area).sum() / area.sum())
        peak = float(look.luminance_cd_m2[look.glows].max(initial=0.0))
        if mean > GLARE_CD_M2 or peak > BARE_CD_M2:
            cautions.append(
                f"Glare: {look.name} shows {peak:.0f} cd/m2 at its brightest place and {mean:.0f} "
                "on average; that is unpleasant to look into from near by. "
                f"{all_cautions()['glare'].text}"
            )
    return tuple(cautions)
