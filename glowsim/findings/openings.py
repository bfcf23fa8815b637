"""Light that leaves a shell by its openings: on the wearer's side, what falls on the face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.geometry.openings import is_opening
from glowsim.transport.result import BodyGlow, SurfaceGlow
from glowsim.units import per_m2

MOST = 95
"""What is brighter than this share of an opening, in percent, is left out of its most."""


@dataclass(frozen=True)
class OpeningLight:
    """What a face, or whatever else is held in an opening, gets to bear.

    place_mm : middle of the opening, in the body's own frame;  area_mm2 : of its lid
    flux_lm  : light that leaves by it;  mean_lx, most_lx : that falls on what is held there
    """

    body: str
    opening: str
    place_mm: tuple[float, ...]
    area_mm2: float
    flux_lm: float
    mean_lx: float
    most_lx: float


def opening_lights(glow: SurfaceGlow) -> tuple[OpeningLight, ...]:
    """Return the light out of every opening of a glow as driven, of equal copies the brightest."""
    found: dict[tuple[str, str], OpeningLight] = {}
    for copy in glow.copies:
        body = glow.bodies[copy.body]
        if not body.hole.any() or not copy.lights:
            continue
        out = glow.exitance_lm_mm2(copy).sum(axis=0)
        for number, name in enumerate(body.surface.part_names):
            mine = body.hole & (body.surface.part == number)
            if is_opening(name) and mine.any():
                light = _light(copy.of, name, body, mine, out[mine])
                known = found.get((copy.of, name))
                if known is None or light.flux_lm > known.flux_lm:
                    found[copy.of, name] = light
    return tuple(found.values())


def _light(
    of: str, name: str, body: BodyGlow, mine: np.ndarray, out_lm_mm2: np.ndarray
) -> OpeningLight:
    area, centre = body.surface.areas_mm2[mine], body.surface.centroids[mine]
    flux = float(area @ out_lm_mm2)
    order = np.argsort(out_lm_mm2)
    run = np.cumsum(area[order])
    most = out_lm_mm2[order][np.searchsorted(run, MOST / 100 * run[-1])]
    place = np.average(centre, axis=0, weights=area)
    return OpeningLight(
        of,
        name,
        tuple(round(float(x), 1) + 0.0 for x in place),
        float(area.sum()),
        flux,
        per_m2(flux / float(area.sum())),
        per_m2(float(most)),
    )
