"""The light that the battery and the wires let through, as a share, and what it does to colours."""

from __future__ import annotations

import colorsys

import numpy as np

from glowsim.catalogue import Board
from glowsim.electrics.pack import run_time
from glowsim.electrics.power import HALF_USED, Electrics
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.colour import led_channel_xyz_per_lumen
from glowsim.optics.srgb import linear_from_xyz

BATTERY_STATES = {"fresh": 0.0, "half used": HALF_USED, "nearly empty": 0.9}
"""Share of the charge that is used, by what a maker calls it."""
HUES = (
    (14, "red"), (42, "orange"), (68, "yellow"), (100, "yellow-green"), (160, "green"),
    (200, "cyan"), (258, "blue"), (295, "violet"), (345, "pink"), (360, "red"),
)  # fmt: skip
"""Names of hues, up to so many degrees (common practice, no source)."""
GREYISH = 0.45
"""Colours of less saturation are called white."""
EVEN = 0.5
"""A board whose colours are all driven above this share of the strongest is meant to be white."""
LEANS = 0.9
"""A colour that keeps less than this of its light, against the best one, turns the hue."""


def light_share(electrics: Electrics, state: str = "half used") -> FloatArray:
    """Return the share of its light that each light keeps as wired, (lights, 3) float, 0..1.

    As drawn, on the scene's battery and wires. Ones for a scene without a battery and wires, or
    without boards. `SurfaceGlow.dimmed` takes it. state : of BATTERY_STATES
    """
    boards = electrics.boards
    lights = max((light for b in boards for light in b.lights), default=-1) + 1
    share = np.ones((lights, 3))
    scene = electrics.plan.scene_file.scene
    if boards and not (scene.power is None and scene.wiring is None):
        found = electrics.circuit.state(
            electrics.supply.feed(BATTERY_STATES[state]), electrics.drawn
        )
        for board, own in zip(boards, found.share, strict=True):
            share[list(board.lights)] = own
    return share


def colour_words(electrics: Electrics, state: str = "half used") -> str:
    """Return what becomes of the colours as wired: 'On 3 x AAA cells, half used, your orange turns
    red ...'; '' where no colour changes. The board that suffers most is told of."""
    share = light_share(electrics, state)
    worst, told = 1.0, ""
    for board in electrics.boards:
        kept = share[board.lights[0]]
        used = board.drive > 0
        if board.board.drive != "rgb" or not used.any():
            continue
        least = float(kept[used].min() / kept[used].max()) if kept[used].max() > 0 else 1.0
        if least >= min(worst, LEANS):
            continue
        worst = least
        even = board.drive.min() > EVEN * board.drive.max()
        before = "white" if even else hue_name(_linear(board.board, board.drive))
        after = hue_name(_linear(board.board, board.drive * kept))
        weak = [
            f"{name} keeps {100 * k:.0f} %"
            for name, k, is_used in zip(("red", "green", "blue"), kept, used, strict=True)
            if is_used and k < LEANS
        ]
        strong = ("red", "green", "blue")[int(np.argmax(np.where(used, kept, -1)))]
        change = f"turns {after}" if after != before else f"leans towards {strong}"
        told = (
            f"On {electrics.supply.label}, {state}, your {before} {change}: "
            f"{', '.join(weak)} of its light at {board.name}."
        )
    return told


def pack_words(electrics: Electrics) -> str:
    """Return why the scene's own battery cannot run the prop at all, '' if it can."""
    pack = electrics.own_pack
    if pack is None or not electrics.boards:
        return ""
    levels = electrics.average_levels()
    need_ma = float(
        sum(b.current_ma(level) for b, level in zip(electrics.boards, levels, strict=True))
    )
    if need_ma > pack.max_current_ma:
        why = f"{need_ma:.0f} mA on average, and it bears {pack.max_current_ma:.0f} mA"
    else:
        run = run_time(pack, electrics.circuit, electrics.boards, levels)
        why = f"{run.ends_by} at once" if run.hours == 0 else ""
    return f"{pack.label} cannot run this prop: {why}." if why else ""


def hue_name(linear_rgb: FloatArray) -> str:
    """Return the name of a colour given as linear sRGB, (3,) float of any scale."""
    rgb = np.clip(linear_rgb, 0, None)
    if rgb.max() <= 0:
        return "dark"
    hue, saturation, _ = colorsys.rgb_to_hsv(*(rgb / rgb.max()) ** (1 / 2.2))
    if saturation < GREYISH:
        return "white"
    return next(name for limit, name in HUES if 360 * hue <= limit)


def _linear(part: Board, drive: FloatArray) -> FloatArray:
    xyz = sum(
        lumen * level * np.array(led_channel_xyz_per_lumen(dominant_nm=nm, fwhm_nm=width))
        for lumen, level, nm, width in zip(
            part.flux_lm, drive, part.dominant_wavelength_nm, part.fwhm_nm, strict=True
        )
    )
    return linear_from_xyz(np.asarray(xyz))
