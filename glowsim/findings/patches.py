"""Hot spots and dark gaps: connected patches that stand out at the scale the eye sees.

A slow ramp over a large angle is hardly noticed, a ripple near the eye's best spatial
frequency is (Barten's contrast sensitivity, Proc. SPIE 5294, 2004). So luminance is averaged
over what the eye can tell apart at the viewing distance, and compared with its average over
the surroundings. Whatever is far brighter or darker than the whole is a finding too, however
slowly it gets there. Where a fade is wanted, brightness is held against that first.

A patch is all that belongs together: pieces that are joined by what stands out half as far count as
one (hysteresis as in Canny, IEEE Trans. PAMI 8, 679 (1986)), so a ring with weaker places is a
ring; and a dark gap reaches as far as it is dark, though its middle has dark surroundings.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from glowsim.findings.growth import Grown, Seen, grown
from glowsim.findings.luminance import Look
from glowsim.findings.wanted import wanted_level
from glowsim.geometry.mesh import FloatArray, IntArray, Mesh
from glowsim.geometry.patchwork import Patchwork
from glowsim.scene import Fade, Room, Thresholds
from glowsim.transport.problem import BoolArray

Kind = Literal["hot spot", "dark gap", "light leak"]

FINEST_DEG = 1 / 30
"""Radius over which the eye averages [deg]: half a period at 15 cycles per degree, beyond which
little contrast is seen indoors (from the contrast sensitivity at 10 cd/m2)."""
LEAST_DEG = 0.1
"""Diameter below which a patch is not worth a finding [deg]."""
AS_DARK = 90.0
"""Percentile of a dark gap's luminance: what is joined to it and no brighter belongs to it."""
SLENDER = 1.5
"""From this length over width on both are told."""
RING_GAP_DEG = 60.0
"""A ring around the upright axis leaves no gap wider than this ..."""
RING_BORE = 0.2
"""... and its bore is at least this share of it; what reaches the axis is a tip or a foot."""


@dataclass(frozen=True, kw_only=True)
class Patch:
    """One hot spot, dark gap or light leak on a body as lit.

    faces         : (n,) int, faces of the body's surface
    place_mm      : (3,) float, its most extreme face, in the body's frame
    size_mm       : diameter of a disc of its area
    length_mm, width_mm : how far it reaches along its longest way, and at right angles to that
    ring          : whether it runs all round the upright axis; then its length is its diameter
    ratio         : to its surroundings at the viewing distance, at the most extreme face; of a
                    light leak, which should have none, as the next
    ratio_to_mean : to the mean of what is meant to glow
    from_mm, to_mm : least and greatest z it reaches, in the body's frame
    light         : the light of the nearest LED, by number;  light_mm : that LED's distance
    direct_share  : share of unscattered light in it
    noise, noise_to_mean : one-sigma errors of the two ratios, 0 for a solver without noise
    within_noise  : whether noise alone could make such a patch
    """

    kind: Kind
    faces: IntArray
    place_mm: FloatArray
    from_mm: float
    to_mm: float
    length_mm: float
    width_mm: float
    ring: bool
    area_mm2: float
    ratio: float
    ratio_to_mean: float
    light: int
    light_mm: float
    direct_share: float
    noise: float = 0.0
    noise_to_mean: float = 0.0
    within_noise: bool = False

    @property
    def size_mm(self) -> float:
        """Diameter of a disc of the patch's area."""
        return float(2 * np.sqrt(self.area_mm2 / np.pi))

    @property
    def severity(self) -> float:
        """How much it stands out; orders findings."""
        away = max(
            abs(np.log(max(self.ratio, 1e-6))), 0.5 * abs(np.log(max(self.ratio_to_mean, 1e-6)))
        )
        return float(away * np.sqrt(self.area_mm2))


def eye_mm(room: Room) -> float:
    """Return the radius over which the eye averages, at the viewing distance [mm]."""
    return float(room.viewing_distance_mm * np.tan(np.radians(FINEST_DEG)))


class Eye:
    """A body as the viewer's eye averages it.

    wanted : (n,) float, the level wanted of each glowing face, of mean 1
    """

    def __init__(
        self, look: Look, room: Room, limits: Thresholds, wanted: Fade | None = None
    ) -> None:
        """Prepare the smoothing over the glowing faces of `look`.

        Raises SceneError for a fade that lies beside them.
        """
        self.look = look
        self.limits = limits
        distance = room.viewing_distance_mm
        self.patchwork = Patchwork(look.body.surface, look.glows)
        name = look.copies[0].of
        self.wanted = wanted_level(wanted, look.body.surface, self.patchwork.faces, name)
        extent = np.sqrt(float(self.patchwork.area.sum()))
        self.fine_mm = eye_mm(room)
        self._wide_mm = min(distance * np.tan(np.radians(limits.surround_deg)), extent)
        self.least_mm2 = np.pi / 4 * (distance * np.tan(np.radians(LEAST_DEG))) ** 2

    @property
    def seen_cd_m2(self) -> FloatArray:
        """What meets the eye from each glowing face, (n,) float: glow and room light sent back.

        A glow that should fade is taken as its like that should be even.
        """
        look, faces = self.look, self.patchwork.faces
        own = look.luminance_cd_m2[faces]
        return look.seen_cd_m2[faces] - own + own / self.wanted

    def blurred(self, values: FloatArray) -> FloatArray:
        """Return values on the glowing faces, (n,), averaged as the eye does."""
        return self.patchwork.smoothed(values, self.fine_mm)

    def ratios(self, luminance_cd_m2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return each glowing face's ratio to its surroundings and to the mean, (n,) or (n, k).

        luminance_cd_m2 : (n,) or (n, k) float, on the glowing faces.
        """
        seen = self.blurred(luminance_cd_m2)
        around = self.patchwork.smoothed(luminance_cd_m2, self._wide_mm)
        area = self.patchwork.area
        mean = np.tensordot(area, luminance_cd_m2, axes=(0, 0)) / area.sum()
        # Beside a bright patch the surroundings are bright too: both must not vanish together.
        floor = 1e-3 * mean
        local, whole = seen / np.maximum(around, floor), seen / np.maximum(mean, 1e-12)
        return np.maximum(local, 0.0), np.maximum(whole, 0.0)

    @cached_property
    def told(self) -> Grown:
        """What can be said of each glowing face: at the eye's own scale, or where noise hides that
        at the finest scale at which it does not."""
        look, faces, limits = self.look, self.patchwork.faces, self.limits
        if look.noise_cd_m2 is None:
            local, whole = self.ratios(self.seen_cd_m2)
            none, all_ = np.zeros(len(faces)), np.ones(len(faces), bool)
            return Grown(local, whole, (none, none), all_, all_, none)
        seen = Seen(
            self.patchwork,
            look.luminance_cd_m2[faces] / self.wanted,
            np.where(look.luminance_cd_m2 > 0, look.noise_cd_m2, 0.0)[faces] / self.wanted,
            look.room_cd_m2[faces],
        )
        between = (
            (limits.dark_gap_ratio, limits.hot_spot_ratio),
            (limits.whole_dark_ratio, limits.whole_bright_ratio),
        )
        return grown(seen, self.fine_mm, self._wide_mm, between)

    def patches(self) -> list[Patch]:
        """Return the hot spots and dark gaps that noise alone hardly makes, worst first."""
        told, limits = self.told, self.limits
        hot = (limits.hot_spot_ratio, limits.whole_bright_ratio)
        dark = (1 / limits.dark_gap_ratio, 1 / limits.whole_dark_ratio)
        found: list[Patch] = []
        with np.errstate(divide="ignore"):
            signed: tuple[tuple[Kind, tuple[float, float], FloatArray, FloatArray], ...] = (
                ("hot spot", hot, told.local, told.whole),
                ("dark gap", dark, 1 / told.local, 1 / told.whole),
            )
        for kind, (near, far), local, whole in signed:
            strong = (told.by_local & (local >= near)) | (told.by_whole & (whole >= far))
            weak = (local >= near**0.5) | (whole >= far**0.5)
            # A dark place beside a blaze is no gap if it is as bright as the rest of the body.
            for rows, joined in self._together(strong & (whole > 1), weak & (whole > 1)):
                if kind == "dark gap":
                    rows = joined = self._as_dark(rows)
                found.append(self._patch(kind, rows, joined))
        kept = [p for p in found if p.area_mm2 >= self.least_mm2]
        return sorted(kept, key=lambda p: -p.severity)

    def _together(self, strong: BoolArray, weak: BoolArray) -> list[tuple[IntArray, IntArray]]:
        """Return rows that stand out and are joined, with the weaker ones that join them."""
        groups = self.patchwork.groups(strong | weak)
        return [(rows[strong[rows]], rows) for rows in groups if strong[rows].any()]

    def _as_dark(self, rows: IntArray) -> IntArray:
        """Return the rows of a dark gap, with all that is joined to it and no brighter."""
        whole = self.told.whole
        chosen = whole <= np.percentile(whole[rows], AS_DARK)
        chosen[rows] = True
        groups = self.patchwork.groups(chosen)
        return np.concatenate([group for group in groups if np.isin(group, rows).any()])

    def _patch(self, kind: Kind, rows: IntArray, joined: IntArray) -> Patch:
        told = self.told
        sign = 1.0 if kind == "hot spot" else -1.0
        known = rows[(told.by_local | told.by_whole)[rows]]
        row = known[int(np.argmax(sign * (told.local[known] + told.whole[known])))]
        return patch_on(
            self.look,
            kind,
            self.patchwork.faces[rows],
            int(np.flatnonzero(rows == row)[0]),
            (float(told.local[row]), float(told.whole[row])),
            (float(told.noise[0][row]), float(told.noise[1][row])),
            joined=self.patchwork.faces[joined],
        )


def patch_on(
    look: Look,
    kind: Kind,
    faces: IntArray,
    worst: int,
    ratios: tuple[float, float],
    noises: tuple[float, float],
    within_noise: bool = False,
    joined: IntArray | None = None,
) -> Patch:
    """Return the patch that faces make up; `worst` is the row of the most extreme one.

    ratios, noises : to its surroundings and to the mean, at that face
    joined : the faces together with weaker ones that join them, which may make them a ring
    """
    body = look.body
    area = body.surface.areas_mm2[faces]
    place = body.surface.centroids[faces[worst]]
    heights = body.surface.triangles[faces][:, :, 2]
    apart = np.linalg.norm(body.led_mm - place, axis=1)
    total = float((look.luminance_cd_m2[faces] * area).sum())
    length, width, ring = _extent(body.surface, faces if joined is None else joined, faces)
    return Patch(
        kind=kind,
        faces=faces,
        place_mm=place,
        from_mm=float(heights.min()),
        to_mm=float(heights.max()),
        length_mm=length,
        width_mm=width,
        ring=ring,
        area_mm2=float(area.sum()),
        ratio=ratios[0],
        ratio_to_mean=ratios[1],
        light=int(body.led_light[apart.argmin()]),
        light_mm=float(apart.min()),
        direct_share=float((look.direct_cd_m2[faces] * area).sum()) / max(total, 1e-12),
        noise=noises[0],
        noise_to_mean=noises[1],
        within_noise=within_noise,
    )


def _extent(surface: Mesh, joined: IntArray, faces: IntArray) -> tuple[float, float, bool]:
    """Return length, width and whether it is a ring; of a ring diameter, height and True."""
    corners = surface.triangles[faces].reshape(-1, 3)
    ring_mm = _ring_mm(surface, joined)
    if ring_mm:
        return ring_mm, float(np.ptp(corners[:, 2])), True
    away = corners - corners.mean(axis=0)
    _, ways = np.linalg.eigh(away.T @ away)
    reach = np.sort(np.ptp(away @ ways, axis=0))
    return float(reach[2]), float(reach[1]), False


def _ring_mm(surface: Mesh, faces: IntArray) -> float:
    """Return the diameter of a ring around the upright axis, or 0 for what is none."""
    place, area = surface.centroids[faces], surface.areas_mm2[faces]
    x, y = (place[:, :2] - np.average(place[:, :2], axis=0, weights=area)).T
    radius = np.hypot(x, y)
    widest = float(radius.max())
    turn = np.sort(np.degrees(np.arctan2(y, x)))
    gaps = np.diff(turn, append=turn[0] + 360)
    tall = float(np.ptp(place[:, 2]))
    is_ring = gaps.max() < RING_GAP_DEG and radius.min() > RING_BORE * widest
    return 2 * widest if is_ring and tall < 2 * widest else 0.0
