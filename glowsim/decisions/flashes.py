"""How often a prop's pulses flash, as a screen shows them and as the prop gives them."""

from __future__ import annotations

import os

import numpy as np

from glowsim.electrics.as_wired import wired
from glowsim.electrics.flashes import FlashReport, coarse, count_flashes
from glowsim.electrics.power import Electrics
from glowsim.electrics.pulse_report import PulseReport, pulse_report
from glowsim.errors import SceneError
from glowsim.optics.srgb import linear_from_xyz
from glowsim.pictures import Studio
from glowsim.pictures.pulsed import PulsedView, own_light_view
from glowsim.pictures.tone import displayed
from glowsim.scene import SceneFile
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.solve import solve

FLASH_SIZE = (240, 180)
"""Of the view in which flashes are counted."""
FLASH_CELL_PX = 2
FAINT_SHARE = 0.005
"""Of full white: places that all lights together change by less cannot flash."""


def flashes(
    scene_file: SceneFile,
    glow: SurfaceGlow | None = None,
    *,
    seconds: float = 10.0,
    frames_per_second: float = 25.0,
    nearest_mm: float = 500.0,
    saved: str | os.PathLike[str] | None = None,
) -> dict[str, FlashReport]:
    """Count the flashes of a scene's pulses by WCAG 2.x, 'on a screen' and 'of the prop'.

    glow       : the scene's glow, if it is solved already;  saved : a result file, as in `solve`
    nearest_mm : distance of the nearest viewer, for the area that flashes
    Raises SceneError for a scene without pulses, besides what `solve` raises.
    """
    if not scene_file.scene.pulses:
        raise SceneError(f"{scene_file.toml.name}: has no [[pulses]] to count flashes of")
    electrics = Electrics(scene_file)
    report = pulse_report(electrics, seconds=seconds, frames_per_second=frames_per_second)
    shown = wired(solve(scene_file, saved=saved) if glow is None else glow, electrics)
    studio = Studio(shown, scene_file.scene, "embree")
    groups = [member.lights for member in report.moving]
    view = own_light_view(studio, groups, studio.camera(FLASH_SIZE))
    return flashes_in(studio, view, report, nearest_mm)


def flashes_in(
    studio: Studio, view: PulsedView, report: PulseReport, nearest_mm: float
) -> dict[str, FlashReport]:
    """Count flashes on one view: as a screen shows them, and as the prop gives them.

    A picture holds back the highlights, and with them flashes; so the light of the prop itself is
    looked at too, 1 being the luminance that the picture shows as white.
    """
    rate, levels = report.levels_for_flashes()
    still = coarse(view.still, FLASH_CELL_PX)
    parts = np.stack([coarse(part, FLASH_CELL_PX) for part in view.parts])
    exposure = studio.exposure_cd_m2
    where = parts.sum(axis=0).max(axis=-1) > FAINT_SHARE * exposure
    xyz = still[where] + np.tensordot(levels, parts[:, where], axes=1)
    away_mm = float(np.linalg.norm(studio.stage.centre - view.camera.eye_mm))
    cell_mm = FLASH_CELL_PX * view.camera.pixel_mm(away_mm)
    cell_deg = float(np.degrees(cell_mm / nearest_mm))
    seen = {
        "on a screen": displayed(xyz, exposure),
        "of the prop": linear_from_xyz(xyz / exposure),
    }
    return {
        name: count_flashes(rgb, where, frames_per_second=rate, cell_deg=cell_deg)
        for name, rgb in seen.items()
    }
