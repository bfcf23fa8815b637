"""How far heat lets the lights be turned up: the scene's limit of power per buried board."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from glowsim.catalogue import Catalogue
from glowsim.transport.problem import LightSource


@dataclass(frozen=True)
class HeatLimit:
    """What the scene's power limit means for its lights as driven.

    limit_w     : average power that one buried board may have
    power_w     : of the hottest board as driven;  light : that board
    heat_factor : by how much all lights may be turned up (above 1) or must be turned down (below
                  1) together until the first board reaches the limit; 0 where a dark board
                  draws more
    full_factor : by how much they can be turned up until the first colour is at full drive
    """

    limit_w: float
    power_w: float
    light: str
    heat_factor: float
    full_factor: float

    @property
    def is_a_rule(self) -> str:
        """A sentence on where the limit comes from."""
        return (
            f"The {self.limit_w:g} W are a rule of thumb for any buried board (buried_power_w); "
            "`glowsim heat` works out what a board bears in this body."
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
) -> HeatLimit | None:
    """Return the limit for some lights; None if there are none, or all are turned off.

    A board's own chips draw power while dark; the rest follows the drive.
    """
    lit = [light for light in lights if light.drive.max() > 0]
    if not lit:
        return None
    factors = [_factor(light, catalogue, limit_w) for light in lit]
    hottest = max(lit, key=lambda light: light.power_w)
    full = float(min(1 / light.drive.max() for light in lit))
    return HeatLimit(limit_w, hottest.power_w, hottest.name, min(factors), full)


def _factor(light: LightSource, catalogue: Catalogue, limit_w: float) -> float:
    board = catalogue.board(light.board)
    dark_w = light.full_power_w * board.power_w(0.0) / board.power_w(1.0)
    driven_w = light.power_w - dark_w
    return float(np.inf) if driven_w <= 0 else max(0.0, (limit_w - dark_w) / driven_w)
