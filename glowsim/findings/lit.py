"""Does it read as lit? Glow plus room light, held against white paper in the same light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.findings.luminance import EYE_WEIGHT, Look
from glowsim.optics.photometry import luminance_of_surface_cd_m2, luminance_of_white_paper_cd_m2
from glowsim.scene import Room, Thresholds
from glowsim.transport.result import SurfaceGlow

# Grades by total luminance over white paper. The second is where surfaces begin to look
# self-luminous (Bonato & Gilchrist, Perception 23, 991, 1994); the others are common practice,
# no source.
GRADES = ((1.0, "looks painted"), (1.7, "tinted"), (3.0, "glows"), (10.0, "glows strongly"))
BRIGHTEST = "bright"
DARK_ROOM_LX = 0.1
"""In less light than this the eye's own adaptation decides; the room counts as this bright."""


@dataclass(frozen=True)
class ReadsAsLit:
    """The verdict for one body as lit, in the scene's room light.

    ratio, low, high : (mean glow + room light sent back) over white paper, with the range that
                       one sigma of the LEDs' bins and of the materials allows
    on_off           : luminance with the light on over off
    lit_share        : share of the glowing area that reads as lit
    """

    body: str
    white_paper_cd_m2: float
    needed_cd_m2: float
    ratio: float
    low: float
    high: float
    on_off: float
    lit_share: float
    grade: str


def reads_as_lit(
    look: Look,
    glow: SurfaceGlow,
    room: Room,
    limits: Thresholds,
    material: tuple[float, float] = (1.0, 1.0),
) -> ReadsAsLit:
    """Return the verdict for a body as lit.

    material : factors on the glow, below and above one, that its materials allow.
    """
    lux = max(room.illuminance_lx, DARK_ROOM_LX)
    white = float(luminance_of_white_paper_cd_m2(lux))
    chosen = look.glows
    area = look.body.surface.areas_mm2[chosen]
    lit = look.luminance_cd_m2[chosen]
    shade = look.body.whiteness[chosen] @ EYE_WEIGHT
    back = luminance_of_surface_cd_m2(lux, reflectance=shade)
    mean_lit = float((lit * area).sum() / area.sum())
    mean_back = float((back * area).sum() / area.sum())
    factor = max((glow.lights[k].flux_factor for k in look.copies[0].lights), default=1.0)
    ratio = (mean_lit + mean_back) / white
    low, high = (np.exp(np.hypot(np.log(factor), np.log(other))) for other in material)
    return ReadsAsLit(
        look.name,
        white,
        limits.glow_ratio * white,
        ratio,
        float(mean_lit / low + mean_back) / white,
        float(mean_lit * high + mean_back) / white,
        (mean_lit + mean_back) / max(mean_back, 1e-9),
        float(area[(lit + back) / white >= limits.glow_ratio].sum() / area.sum()),
        grade_of(ratio),
    )


def grade_of(ratio: float) -> str:
    """Return the grade of a luminance over white paper's."""
    return next((name for limit, name in GRADES if ratio < limit), BRIGHTEST)
