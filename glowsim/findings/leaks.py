"""Light leaks: what must stay dark (`dark_where`), and is lit all the same."""

from __future__ import annotations

import numpy as np

from glowsim.findings.noise import beyond_chance, shaken_often
from glowsim.findings.patches import Eye, Patch, patch_on
from glowsim.geometry.mesh import FloatArray
from glowsim.geometry.patchwork import Patchwork

BARE = 0.5
"""From this share of unscattered light on, a leak comes straight from an LED."""


def light_leaks(eye: Eye) -> list[Patch]:
    """Return the lit patches of what must stay dark, worst first.

    Lit is what the eye sees brighter than `whole_dark_ratio` times the mean of what is meant to
    glow, which `place` too holds its boards to. Room light is left out.
    """
    look, limit = eye.look, eye.limits.whole_dark_ratio
    surface = look.body.surface
    if look.body.dark is None or not (chosen := look.body.dark & ~look.glows).any():
        return []
    work = Patchwork(surface, chosen)
    area = surface.areas_mm2[look.glows]
    mean = float(area @ look.luminance_cd_m2[look.glows] / area.sum())
    over = work.smoothed(look.luminance_cd_m2[work.faces], eye.fine_mm) / max(mean, 1e-12)
    noise = _noise(eye, work) / max(mean, 1e-12)
    found = []
    for rows in work.groups(over > limit):
        worst = int(over[rows].argmax())
        ratio, error = float(over[rows][worst]), float(noise[rows][worst])
        clear = over[rows] - limit > beyond_chance(len(work.faces)) * noise[rows]
        found.append(
            patch_on(
                look,
                "light leak",
                work.faces[rows],
                worst,
                (ratio, ratio),
                (error, error),
                not clear.any(),
            )
        )
    kept = [patch for patch in found if patch.area_mm2 >= eye.least_mm2]
    return sorted(kept, key=lambda p: (p.within_noise, -p.ratio_to_mean * p.size_mm))


def _noise(eye: Eye, work: Patchwork) -> FloatArray:
    """One-sigma error of each face as the eye sees it, (n,) float [cd/m2]."""
    if eye.look.noise_cd_m2 is None:
        return np.zeros(len(work.faces))
    noise = eye.look.noise_cd_m2[work.faces]
    again = shaken_often(np.zeros(len(noise)), noise)
    return np.asarray(work.smoothed(again, eye.fine_mm).std(axis=1, ddof=1))


def stopped(patch: Patch, eye: Eye) -> str:
    """Return one plain sentence on what would darken a light leak."""
    body, limit = eye.look.body, eye.limits.whole_dark_ratio
    lamp = f"light {patch.light + 1}" if body.light_count > 1 else "the light"
    if body.hole[patch.faces].mean() > 0.5:
        ways = "it is an open hole: close it, or put a lightproof collar around what goes through"
    elif patch.direct_share > BARE:
        ways = f"most of it comes straight from an LED: turn {lamp} away, or shade it on this side"
    else:
        ways = (
            "give it an opaque coat ([[bodies.masks]]), or a second one over a coat that lets "
            f"light through; or move {lamp}, {patch.light_mm:.0f} mm from it, away"
        )
    return (
        f"this must stay dark (dark_where: at most {100 * limit:.0f} % of the glow's mean), so "
        f"make it {patch.ratio_to_mean / limit:.2g} times darker: {ways}"
    )
