"""A glow as battery and wires let it be: what they let through, and what becomes of colours."""

from __future__ import annotations

import colorsys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from glowsim.catalogue import Board
from glowsim.electrics.pack import BATTERY_STATES, FULL_VOLTAGE, run_time
from glowsim.electrics.power import Electrics
from glowsim.errors import SceneError
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.colour import led_channel_xyz_per_lumen
from glowsim.optics.srgb import linear_from_xyz
from glowsim.scene import Controller, SceneFile
from glowsim.transport.problem import Copy
from glowsim.transport.result import SurfaceGlow

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


def as_wired(glow: SurfaceGlow, scene_file: SceneFile) -> SurfaceGlow:
    """Return a scene's glow as its battery and wires let it be, the battery as `scene_file` says.

    What every table, picture and decision is about. The glow says so itself, in `supply`; that of
    a scene without [power] and [wiring] stays as it is. Raises SceneError.
    """
    return wired(glow, Electrics(scene_file)) if supply_words(scene_file) else glow


def wired(glow: SurfaceGlow, electrics: Electrics) -> SurfaceGlow:
    """Return a scene's glow as its electrics let it be; see `as_wired`."""
    scene_file = electrics.plan.scene_file
    words = supply_words(scene_file)
    if not words:
        return glow
    return glow.dimmed(light_share(electrics, scene_file.battery)).alike(supply=words)


def as_tried(glow: SurfaceGlow, scene_file: SceneFile) -> SurfaceGlow:
    """Return the glow of a variant as wired; boards that its wiring does not know yet are taken to
    sit at the battery, and `supply` says so. Raises SceneError."""
    try:
        return as_wired(glow, scene_file)
    except SceneError:
        words = f"{supply_words(scene_file)}, boards not in [wiring] yet taken at the battery"
        return as_wired(glow, _unwired(scene_file)).alike(supply=words)


def _unwired(scene_file: SceneFile) -> SceneFile:
    """Return a scene with all its boards at the battery, driven as drawn."""
    bare = {"wiring": None, "pulses": (), "controller": Controller()}
    return replace(scene_file, scene=scene_file.scene.model_copy(update=bare))


def not_carried(scene_file: SceneFile) -> str:
    """Return why the battery of a scene or a variant of it cannot run it, '' where it can or none
    is named; boards as `as_tried` takes them. Raises SceneError."""
    if scene_file.scene.power is None:
        return ""
    try:
        return ended_words(Electrics(scene_file))
    except SceneError:
        return ended_words(Electrics(_unwired(scene_file)))


def kept_by(scene_file: SceneFile, body: str) -> FloatArray:
    """Return the share of each band's light that a body's boards keep on the mean, (3,) float."""
    if not supply_words(scene_file):
        return np.ones(3)
    electrics = Electrics(scene_file)
    share = light_share(electrics, scene_file.battery)
    mine = [light for board in electrics.boards if board.body == body for light in board.lights]
    return np.asarray(share[mine].mean(axis=0)) if mine else np.ones(3)


def evened(glow: SurfaceGlow, copies: Sequence[Copy]) -> SurfaceGlow:
    """Return a glow in which copies of one body, driven alike, shine alike: as on the mean."""
    lights = list(glow.lights)
    for same in zip(*(copy.lights for copy in copies), strict=True):
        mean = np.mean([lights[k].drive for k in same], axis=0)
        for k in same:
            lights[k] = replace(lights[k], drive=mean)
    return glow.alike(lights=tuple(lights))


def supply_words(scene_file: SceneFile) -> str:
    """Return what a scene's figures and pictures are for: 'as wired, battery half used'."""
    power, wiring = scene_file.scene.power, scene_file.scene.wiring
    if power is None and wiring is None:
        return ""
    if scene_file.battery == FULL_VOLTAGE:
        return "at full voltage, without wiring losses"
    return "as wired" if power is None else f"as wired, battery {scene_file.battery}"


def loss_words(electrics: Electrics) -> str:
    """Return what reaches the best and the worst board; '' at full voltage or without wires."""
    scene_file = electrics.plan.scene_file
    words = supply_words(scene_file)
    if not words or not electrics.boards or scene_file.battery == FULL_VOLTAGE:
        return ""
    used = BATTERY_STATES[scene_file.battery]
    state = electrics.circuit.state(electrics.supply.feed(used), electrics.drawn)
    worst = int(state.board_v.argmin())
    lost = 1 - state.share[worst][electrics.drawn[worst] > 0].min(initial=1.0)
    best_v, worst_v = (f"{volts:.2f} V" for volts in (state.board_v.max(), state.board_v.min()))
    where = f"{best_v} at every board; the"
    if best_v != worst_v:
        where = f"{best_v} at the best board and {worst_v} at the worst "
        where += f"({electrics.boards[worst].name}); its"
    what = f"{where} weakest colour loses {100 * lost:.0f} %"
    return f"{words}: {what if lost > 0.005 else where.rpartition(';')[0]}"


def headline(electrics: Electrics) -> tuple[str, ...]:
    """Return what must be said before any figure: a battery that cannot run the prop, or no longer
    in this state, a colour that turns. Only the first of it at full voltage."""
    state, ended = electrics.plan.scene_file.battery, ended_words(electrics)
    colours = "" if state == FULL_VOLTAGE else colour_words(electrics, state)
    return tuple(words for words in (ended, colours) if words)


def light_share(electrics: Electrics, state: str = "half used") -> FloatArray:
    """Return the share of its light that each light keeps as wired, (lights, 3) float, 0..1.

    As drawn, on the scene's battery and wires. Ones for a scene without a battery and wires, or
    without boards. `SurfaceGlow.dimmed` takes it. state : of BATTERY_STATES, or FULL_VOLTAGE
    """
    boards = electrics.boards
    lights = max((light for b in boards for light in b.lights), default=-1) + 1
    share = np.ones((lights, 3))
    scene = electrics.plan.scene_file.scene
    if boards and state != FULL_VOLTAGE and (scene.power or scene.wiring):
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
        why = f"{need_ma:.0f} mA on average, its limit {pack.max_current_ma:.0f} mA"
    else:
        run = run_time(pack, electrics.circuit, electrics.boards, levels)
        why = f"{run.ends_by} at once" if run.hours == 0 else ""
    return f"{pack.label} cannot run this prop: {why}." if why else ""


def ended_words(electrics: Electrics) -> str:
    """Return why the scene's own battery cannot run the prop, or no longer in the state it is shown
    in; '' if it can."""
    at_full = electrics.plan.scene_file.battery == FULL_VOLTAGE
    return pack_words(electrics) or ("" if at_full else spent_words(electrics))


def spent_words(electrics: Electrics) -> str:
    """Return that the battery has ended before the state it is shown in, '' if it has not.

    It ends on the average of the show; the voltage told is that of the level as drawn.
    """
    pack, used = electrics.own_pack, electrics.used
    if pack is None or not electrics.boards:
        return ""
    run = run_time(pack, electrics.circuit, electrics.boards, electrics.average_levels())
    if run.used >= used:
        return ""
    volts = electrics.state_drawn().board_v
    worst = electrics.boards[int(volts.argmin())]
    return (
        f"{pack.label}, {electrics.state_of_charge}, no longer runs this prop: it ends after "
        f"{run.hours:.1f} h with {100 * run.used:.0f} % of its charge used ({run.ends_by}). What "
        f"is shown for that state, {volts.min():.2f} V at {worst.name}, is a guess."
    )


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
