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
LOOK_ALIKE = 0.1
"""Copies whose lights differ by no more than this share of their lumens, in any colour, are told of
together, by their mean: less than anybody sees from one piece to the next (common practice, no
source), and what wires leave the near and the far of a row."""


@dataclass(frozen=True)
class Look:
    """A body as lit: all copies of it that look alike, and their mean where they differ a little.

    apart           : whether other copies of the same body look otherwise
    luminance_cd_m2 : (k,) float, of each face of the body's surface seen square-on, as one sees it
                      who walks round the prop; each place counts as it looks from in front
    direct_cd_m2    : (k,) float, the part of it that never scattered, averaged over directions
    per_light_cd_m2 : (lights, k) float, what each light of the body adds
    across_cd_m2    : (k,) float, the part of it that comes from other faces across the air and is
                      sent back, or falls into an open hollow and comes out, the mean over the
                      copies; 0 where it does not matter
    room_cd_m2      : (k,) float, room light sent back
    noise_cd_m2     : (k,) float, one-sigma error of the luminance, or None for a solver without
    fallen_share    : light that falls into its open hollows, over what it lets out itself
    """

    body: BodyGlow
    copies: tuple[Copy, ...]
    luminance_cd_m2: FloatArray
    direct_cd_m2: FloatArray
    per_light_cd_m2: FloatArray
    across_cd_m2: FloatArray
    room_cd_m2: FloatArray
    noise_cd_m2: FloatArray | None = None
    fallen_share: float = 0.0
    apart: bool = False

    @property
    def name(self) -> str:
        """The body's name in the scene, with the number of copies if there are several; 'spike 4
        and 2 more' where other copies look otherwise."""
        first, others = self.copies[0], len(self.copies) - 1
        if self.apart:
            return f"{first.name} and {others} more" if others else first.name
        return f"{first.of} (x{others + 1})" if others else first.of

    @property
    def seen_cd_m2(self) -> FloatArray:
        """What meets the eye: glow and room light sent back, (k,) float."""
        return self.luminance_cd_m2 + self.room_cd_m2

    @property
    def glows(self) -> BoolArray:
        """Faces that are meant to glow, (k,) bool."""
        return self.body.glows


def looks_of(
    glow: SurfaceGlow, room: Room, across: bool = True, of: str | None = None
) -> tuple[Look, ...]:
    """Return the different looks of a prop's lit bodies, copies with much the same lights together.

    across : count the light that bodies send each other across the air
    of     : only looks of the body of this name; light from all others falls on it all the same
    Raises SolveError where the reference solver has had too few photons to say anything.
    """
    groups: list[list[int]] = []
    for number, copy in enumerate(glow.copies):
        asked = of is None or copy.of == of
        if asked and copy.lights and glow.bodies[copy.body].glows.any():
            check_known(glow, copy)
            like = (group for group in groups if _alike(glow, glow.copies[group[0]], copy))
            group = next(like, None)
            if group is None:
                groups.append([number])
            else:
                group.append(number)
    crossing = exchange_lm_mm2(glow) if across else None
    firsts = [glow.copies[group[0]].of for group in groups]
    return tuple(
        _look(
            glow,
            tuple(glow.copies[k] for k in group),
            room,
            None if crossing is None else np.mean([crossing[k] for k in group], axis=0),
            firsts.count(first) > 1,
        )
        for group, first in zip(groups, firsts, strict=True)
    )


def _alike(glow: SurfaceGlow, one: Copy, other: Copy) -> bool:
    """Whether two copies are told of together."""
    if one.body != other.body:
        return False
    flux, others = glow.flux_lm(one), glow.flux_lm(other)
    total = np.maximum(flux.sum(axis=1), others.sum(axis=1))[:, None]
    return bool((np.abs(flux - others) <= LOOK_ALIKE * total + 1e-12).all())


def _look(
    glow: SurfaceGlow,
    copies: tuple[Copy, ...],
    room: Room,
    crossing: FloatArray | None,
    apart: bool,
) -> Look:
    body = glow.bodies[copies[0].body]
    flux = np.mean([glow.flux_lm(copy) for copy in copies], axis=0)
    ahead = square_on(body.face_index)
    per_light = np.einsum("lb,lbk->lk", flux, body.diffuse * ahead + body.direct)
    direct = np.einsum("lb,lbk->k", flux, body.direct)
    noise = noise_lm_mm2(glow, copies[0])
    arriving, back = np.zeros((2, len(direct))) if crossing is None else crossing
    out = float(np.einsum("lb,lbk->k", flux, body.diffuse + body.direct) @ body.surface.areas_mm2)
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
        apart,
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
