"""Luminance of the faces of a copy, and which copies look the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glowsim.findings.noise import check_known, noise_lm_mm2
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.emission import square_on
from glowsim.optics.photometry import luminance_of_emitter_cd_m2, luminance_of_surface_cd_m2
from glowsim.scene import Room
from glowsim.transport.exchange import exchange_lm_mm2
from glowsim.transport.problem import BoolArray, Copy
from glowsim.transport.result import BodyGlow, SurfaceGlow

EYE_WEIGHT = np.array([0.21, 0.72, 0.07])
"""How near-white room light weighs the bands, as the eye does (the luminance row of the sRGB
matrix, IEC 61966-2-1)."""


@dataclass(frozen=True)
class Look:
    """A body as lit: all copies of it that look alike.

    luminance_cd_m2 : (k,) float, of each face of the body's surface seen square-on, as one sees it
                      who walks round the prop; each place counts as it looks from in front
    direct_cd_m2    : (k,) float, the part of it that never scattered, averaged over directions
    per_light_cd_m2 : (lights, k) float, what each light of the body adds
    across_cd_m2    : (k,) float, the part of it that comes from other faces across the air and is
                      sent back, the mean over the copies; 0 where it does not matter
    room_cd_m2      : (k,) float, room light sent back
    noise_cd_m2     : (k,) float, one-sigma error of the luminance, or None for a solver without
    lost_share      : light that falls into its open holes and is left out, over what it lets out
    """

    body: BodyGlow
    copies: tuple[Copy, ...]
    luminance_cd_m2: FloatArray
    direct_cd_m2: FloatArray
    per_light_cd_m2: FloatArray
    across_cd_m2: FloatArray
    room_cd_m2: FloatArray
    noise_cd_m2: FloatArray | None = None
    lost_share: float = 0.0

    @property
    def name(self) -> str:
        """The body's name in the scene, with the number of copies if there are several."""
        name = self.copies[0].of
        return name if len(self.copies) == 1 else f"{name} (x{len(self.copies)})"

    @property
    def seen_cd_m2(self) -> FloatArray:
        """What meets the eye: glow and room light sent back, (k,) float."""
        return self.luminance_cd_m2 + self.room_cd_m2

    @property
    def glows(self) -> BoolArray:
        """Faces that are meant to glow, (k,) bool."""
        return self.body.glows


def looks_of(glow: SurfaceGlow, room: Room, across: bool = True) -> tuple[Look, ...]:
    """Return the different looks of a prop's lit bodies, copies with equal lights together.

    across : count the light that bodies send each other across the air
    Raises SolveError where the reference solver has had too few photons to say anything.
    """
    groups: dict[tuple[int, bytes], list[int]] = {}
    for number, copy in enumerate(glow.copies):
        if copy.lights and glow.bodies[copy.body].glows.any():
            check_known(glow, copy)
            key = (copy.body, np.round(glow.flux_lm(copy), 9).tobytes())
            groups.setdefault(key, []).append(number)
    crossing = exchange_lm_mm2(glow) if across else None
    return tuple(
        _look(
            glow,
            tuple(glow.copies[k] for k in group),
            room,
            None if crossing is None else np.mean([crossing[k] for k in group], axis=0),
        )
        for group in groups.values()
    )


def _look(
    glow: SurfaceGlow, copies: tuple[Copy, ...], room: Room, crossing: FloatArray | None
) -> Look:
    body = glow.bodies[copies[0].body]
    flux = glow.flux_lm(copies[0])
    ahead = square_on(body.face_index)
    per_light = np.einsum("lb,lbk->lk", flux, body.diffuse * ahead + body.direct)
    direct = np.einsum("lb,lbk->k", flux, body.direct)
    noise = noise_lm_mm2(glow, copies[0])
    arriving, back = np.zeros((2, len(direct))) if crossing is None else crossing
    out = float(body.surface.areas_mm2 @ glow.exitance_lm_mm2(copies[0]).sum(axis=0))
    return Look(
        body,
        copies,
        luminance_of_emitter_cd_m2(per_light.sum(axis=0) + back),
        luminance_of_emitter_cd_m2(direct),
        luminance_of_emitter_cd_m2(per_light),
        luminance_of_emitter_cd_m2(back),
        luminance_of_surface_cd_m2(room.illuminance_lx, reflectance=body.whiteness @ EYE_WEIGHT),
        None if noise is None else luminance_of_emitter_cd_m2(noise * ahead),
        float((body.surface.areas_mm2 * body.hole) @ arriving) / max(out, 1e-30),
    )


def bright_noise(look: Look) -> float | None:
    """Return the relative error of the faces that are at least as bright as the mean.

    Root mean square over their area; None for a solver without noise, or without light.
    """
    if look.noise_cd_m2 is None or not look.luminance_cd_m2[look.glows].any():
        return None
    area = look.body.surface.areas_mm2[look.glows]
    bright, noise = look.luminance_cd_m2[look.glows], look.noise_cd_m2[look.glows]
    chosen = bright >= (area @ bright) / area.sum()
    share = area[chosen] / area[chosen].sum()
    return float(np.sqrt(share @ (noise[chosen] / bright[chosen]) ** 2))
