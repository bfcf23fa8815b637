"""What could hurt: glare, in figures of this prop before the usual words. Heat is not told here."""

from __future__ import annotations

from glowsim.catalogue.cautions import all_cautions
from glowsim.findings.luminance import Look

GLARE_CD_M2 = 2000.0
"""Mean luminance above which a large face is unpleasant to look into indoors (common practice,
no source)."""
BARE_CD_M2 = 10_000.0
"""Luminance of the brightest place above which IEC 62471 wants white light looked into more closely
(from memory of that standard): a bare LED that shows."""


def cautions_of(looks: tuple[Look, ...]) -> tuple[str, ...]:
    """Return the cautions a glow calls for."""
    cautions = []
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
