"""Hot spots and dark gaps: connected patches that stand out at the scale the eye sees.

A slow ramp over a large angle is hardly noticed, a ripple near the eye's best spatial
frequency is (Barten's contrast sensitivity, see `optics.vision`). So luminance is averaged
over what the eye can tell apart at the viewing distance, and compared with its average over
the surroundings. Whatever is far brighter or darker than the whole is a finding too, however
slowly it gets there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from glowsim.findings.growth import Grown, Seen, grown
from glowsim.findings.luminance import Look
from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.geometry.patchwork import Patchwork
from glowsim.scene import Room, Thresholds
from glowsim.transport.problem import BoolArray

Kind = Literal["hot spot", "dark gap", "light leak"]

FINEST_DEG = 1 / 30
"""Radius over which the eye averages [deg]: half a period at 15 cycles per degree, beyond which
little contrast is seen indoors (from the contrast sensitivity at 10 cd/m2)."""
LEAST_DEG = 0.1
"""Diameter below which a patch is not worth a finding [deg]."""


@dataclass(frozen=True)
class Patch:
    """One hot spot, dark gap or light leak on a body as lit.

    faces         : (n,) int, faces of the body's surface
    place_mm      : (3,) float, its most extreme face, in the body's frame
    size_mm       : diameter of a disc of its area
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
    """A body as the viewer's eye averages it."""

    def __init__(self, look: Look, room: Room, limits: Thresholds) -> None:
        """Prepare the smoothing over the glowing faces of `look`."""
        self.look = look
        self.limits = limits
        distance = room.viewing_distance_mm
        self.patchwork = Patchwork(look.body.surface, look.glows)
        extent = np.sqrt(float(self.patchwork.area.sum()))
        self.fine_mm = eye_mm(room)
        self._wide_mm = min(distance * np.tan(np.radians(limits.surround_deg)), extent)
        self.least_mm2 = np.pi / 4 * (distance * np.tan(np.radians(LEAST_DEG))) ** 2

    def ratios(self, luminance_cd_m2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return each glowing face's ratio to its surroundings and to the mean, (n,) or (n, k).

        luminance_cd_m2 : (n,) or (n, k) float, on the glowing faces.
        """
        seen = self.patchwork.smoothed(luminance_cd_m2, self.fine_mm)
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
            local, whole = self.ratios(look.seen_cd_m2[faces])
            none, all_ = np.zeros(len(faces)), np.ones(len(faces), bool)
            return Grown(local, whole, (none, none), all_, all_, none)
        seen = Seen(
            self.patchwork,
            look.luminance_cd_m2[faces],
            np.where(look.luminance_cd_m2 > 0, look.noise_cd_m2, 0.0)[faces],
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
        local, whole = told.local, told.whole
        hot = told.by_local & (local >= limits.hot_spot_ratio)
        hot |= told.by_whole & (whole >= limits.whole_bright_ratio)
        dark = told.by_local & (local <= limits.dark_gap_ratio)
        dark |= told.by_whole & (whole <= limits.whole_dark_ratio)
        # A dark place beside a blaze is not a gap if it is as bright as the rest of the body.
        dark &= whole < 1.0
        hot &= whole > 1.0
        found: list[Patch] = []
        kinds: tuple[tuple[Kind, BoolArray], ...] = (("hot spot", hot), ("dark gap", dark))
        for kind, chosen in kinds:
            for rows in self.patchwork.groups(chosen):
                found.append(self._patch(kind, rows))
        kept = [p for p in found if p.area_mm2 >= self.least_mm2]
        return sorted(kept, key=lambda p: -p.severity)

    def _patch(self, kind: Kind, rows: IntArray) -> Patch:
        told = self.told
        sign = 1.0 if kind == "hot spot" else -1.0
        row = rows[int(np.argmax(sign * (told.local[rows] + told.whole[rows])))]
        return patch_on(
            self.look,
            kind,
            self.patchwork.faces[rows],
            int(np.flatnonzero(rows == row)[0]),
            (float(told.local[row]), float(told.whole[row])),
            (float(told.noise[0][row]), float(told.noise[1][row])),
        )


def patch_on(
    look: Look,
    kind: Kind,
    faces: IntArray,
    worst: int,
    ratios: tuple[float, float],
    noises: tuple[float, float],
    within_noise: bool = False,
) -> Patch:
    """Return the patch that faces make up; `worst` is the row of the most extreme one.

    ratios, noises : to its surroundings and to the mean, at that face
    """
    body = look.body
    area = body.surface.areas_mm2[faces]
    place = body.surface.centroids[faces[worst]]
    heights = body.surface.triangles[faces][:, :, 2]
    apart = np.linalg.norm(body.led_mm - place, axis=1)
    total = float((look.luminance_cd_m2[faces] * area).sum())
    return Patch(
        kind,
        faces,
        place,
        float(heights.min()),
        float(heights.max()),
        float(area.sum()),
        *ratios,
        int(body.led_light[apart.argmin()]),
        float(apart.min()),
        float((look.direct_cd_m2[faces] * area).sum()) / max(total, 1e-12),
        *noises,
        within_noise,
    )
