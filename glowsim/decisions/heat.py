"""How far heat lets the lights be turned up: by the scene's rule of thumb of power per buried
board, or by what boards bear at their very places (`electrics.heat`)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from typing import Any

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.catalogue.cautions import all_cautions
from glowsim.electrics.heat import BoardHeat, HeatReport, heat_of
from glowsim.errors import GlowsimError
from glowsim.scene import SceneFile
from glowsim.transport.names import digest
from glowsim.transport.problem import LightSource


@dataclass(frozen=True)
class PowerLimit:
    """What a limit of power means for lights as driven.

    limit_w     : average power that one board may have
    power_w     : of the hottest board as driven;  light : that board
    heat_factor : by how much all lights may be turned up (above 1) or must be turned down (below
                  1) together until the first board reaches the limit; 0 where a dark board
                  draws more
    full_factor : by how much they can be turned up until the first colour is at full drive
    driven_w    : of power_w what follows the drive; the rest its chips draw while dark
    board_c     : how warm that board gets, None where the limit is the rule of thumb
    what        : what is then at its limit, or why there is but the rule of thumb
    """

    limit_w: float
    power_w: float
    light: str
    heat_factor: float
    full_factor: float
    driven_w: float = 0.0
    board_c: float | None = None
    what: str = ""

    @property
    def source(self) -> str:
        """A sentence on where the limit comes from."""
        if self.board_c is None:
            return (
                f"The {self.limit_w:g} W are a rule of thumb for any buried board (buried_power_w)"
                + (f": {self.what}." if self.what else ".")
            )
        return (
            f"The {self.limit_w:.2g} W are what the heat sum gives for {self.light} at its place: "
            f"{self.what}. As driven it gets {self.board_c:.0f} °C warm; `glowsim heat` shows all."
        )

    def turned(self, factor: float, room_c: float) -> PowerLimit:
        """Return the limit with all lights turned up by a factor; room_c : air around the prop."""
        if factor == 1.0:
            return self
        power_w = self.power_w + (factor - 1) * self.driven_w
        warm = self.board_c
        if warm is not None:
            warm = room_c + (warm - room_c) * power_w / self.power_w
        return replace(
            self,
            power_w=power_w,
            driven_w=factor * self.driven_w,
            heat_factor=self.heat_factor / factor,
            full_factor=self.full_factor / factor,
            board_c=warm,
        )

    @property
    def exceeded(self) -> bool:
        """Whether a board draws more than the limit as driven."""
        return self.power_w > self.limit_w

    @property
    def binds(self) -> bool:
        """Whether the heat, not the LEDs, decides how far the lights can be turned up."""
        return self.heat_factor < self.full_factor

    @property
    def factor(self) -> float:
        """By how much the lights can be turned up at most."""
        return min(self.heat_factor, self.full_factor)


def heat_limit(
    lights: Iterable[LightSource], catalogue: Catalogue, limit_w: float
) -> PowerLimit | None:
    """Return the limit for some lights; None if there are none, or all are turned off.

    A board's own chips draw power while dark; the rest follows the drive.
    """
    lit = [light for light in lights if light.drive.max() > 0]
    if not lit:
        return None
    factor = min(_factor(light, catalogue, limit_w) for light in lit)
    hottest = max(lit, key=lambda light: light.power_w)
    full = float(min(1 / light.drive.max() for light in lit))
    driven_w = _driven_w(hottest, catalogue)
    return PowerLimit(limit_w, hottest.power_w, hottest.name, factor, full, driven_w)


def _factor(light: LightSource | BoardHeat, catalogue: Catalogue, limit_w: float) -> float:
    """Return by how much a board can be turned up until it draws so much, at least 0."""
    driven_w = _driven_w(light, catalogue)
    dark_w = light.power_w - driven_w
    return float(np.inf) if driven_w <= 0 else max(0.0, (limit_w - dark_w) / driven_w)


def _driven_w(light: LightSource | BoardHeat, catalogue: Catalogue) -> float:
    """Return what a board draws above what it draws while dark [W]."""
    kind = light.kind if isinstance(light, BoardHeat) else light.board
    board = catalogue.board(kind)
    return light.power_w - light.full_power_w * board.power_w(0.0) / board.power_w(1.0)


def limit_at_place(
    scene_file: SceneFile,
    catalogue: Catalogue,
    body: str,
    rule: PowerLimit | None,
    report: Callable[[str], None] = lambda text: None,
) -> PowerLimit | None:
    """Return what the boards of a body bear at their places in a scene.

    rule : the rule of thumb for them. It stays where heat cannot be worked out (a material
           without conductivity), with the reason, and where the scene itself gives a lower limit.
    """
    if rule is None:
        return None
    try:
        boards = heat_of(scene_file, of=body, how_soon=False, report=report).boards
    except GlowsimError as fault:
        return replace(rule, what=_not_known(fault))
    own = _of_board(min(boards, key=lambda board: board.allowed_share), catalogue, rule)
    given = "buried_power_w" in scene_file.scene.findings.model_fields_set
    if given and rule.heat_factor < own.heat_factor:
        return replace(rule, what=f"the scene gives it; by the heat sum it is {own.limit_w:.2g} W")
    return own


def _not_known(fault: GlowsimError) -> str:
    """Say why heat cannot be worked out. The place in the file is left out: the scene may be one
    that was only tried."""
    reason = str(fault).rsplit(": ", 1)[-1]
    return f"a board's limit here is not known ({reason})"


def _of_board(board: BoardHeat, catalogue: Catalogue, rule: PowerLimit) -> PowerLimit:
    what = "nothing in it has a limit"
    if board.limits:
        what = f"{board.limits[0].what} may get {board.limits[0].limit_c:.0f} °C warm"
    return replace(
        rule,
        limit_w=board.bearable_w,
        power_w=board.power_w,
        light=board.name,
        heat_factor=_factor(board, catalogue, board.bearable_w),
        driven_w=_driven_w(board, catalogue),
        board_c=board.board_c,
        what=what,
    )


LOOK_FROM_W = 0.1
"""From this power on a board's warmth is worked out: 0.1 to 0.3 W is what a board bears in 40 mm of
foam, the worst that people build (`sphere_k_w`)."""


@dataclass(frozen=True)
class HeatCaution:
    """What must be said of the heat of a scene's boards, '' for nothing; stamp : of the scene."""

    words: str
    stamp: str

    def as_json(self) -> dict[str, str]:
        """Return plain data."""
        return asdict(self)


def heat_caution(
    scene_file: SceneFile,
    lights: Iterable[LightSource],
    kept: Any = None,
    report: Callable[[str], None] = lambda text: None,
    found: HeatReport | None = None,
) -> HeatCaution:
    """Return a caution where boards get warmer than they may, by `heat_of`.

    lights : of the scene's glow;  kept : what `HeatCaution.as_json` gave for an earlier run, used
    if it is of this scene;  found : what `heat_of` gives, where that is known. Where heat cannot
    be worked out the rule of thumb stands, and is called so.
    """
    scene, lit = scene_file.scene, [light for light in lights if light.drive.max() > 0]
    stamp = digest(scene.model_dump_json(), scene_file.battery, version("glowsim"))
    if isinstance(kept, dict) and kept.get("stamp") == stamp and isinstance(kept.get("words"), str):
        return HeatCaution(kept["words"], stamp)
    limit_w = scene.findings.buried_power_w
    above = [light for light in lit if light.power_w > limit_w]
    said = []
    if above and "buried_power_w" in scene.findings.model_fields_set:
        said.append(f"{_drawing(above, lit, limit_w)}, which the scene gives as limit")
    if any(light.power_w > LOOK_FROM_W for light in lit):
        try:
            said += _too_warm(found or heat_of(scene_file, how_soon=False, report=report))
        except GlowsimError as fault:
            if above and not said:
                rule = f"a rule of thumb: {_not_known(fault)}"
                said.append(f"{_drawing(above, lit, limit_w)}, {rule}")
    words = f"Heat: {'; '.join(said)}. {all_cautions()['heat'].text}" if said else ""
    return HeatCaution(words, stamp)


def _drawing(above: Sequence[LightSource], lit: Sequence[LightSource], limit_w: float) -> str:
    most = max(above, key=lambda light: light.power_w)
    return (
        f"{len(above)} of {len(lit)} boards draw more than {limit_w:g} W as driven (up to "
        f"{most.power_w:.2g} W, {most.name})"
    )


def _too_warm(found: HeatReport) -> list[str]:
    """Say how many boards get too warm, and what the worst of them may draw."""
    hot = [board for board in found.boards if board.allowed_share < 1]
    if not hot:
        return []
    worst = found.hottest
    limit = worst.limits[0]
    return [
        f"{len(hot)} of {len(found.boards)} boards get too warm {found.judged}. {worst.name} draws "
        f"{worst.power_w:.2g} W and may draw {worst.bearable_w:.2g} W at its place: {limit.what} "
        f"{limit.found_c:.0f} °C, limit {limit.limit_c:.0f} °C; `glowsim heat` shows all"
    ]
