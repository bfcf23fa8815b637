"""What the lacquer of a light board and the LEDs on it throw back.

Sources: fresh white mask for LED boards .85 to .95, falling toward red (product curves printed in
a trade magazine for board makers, 2016); cheap or reflowed .70 to .85 and black .04 to .08 and
green: estimates. LED faces: the substrate of white LEDs .70 to 1.0 diffuse (J. Solid State Lighting
1, 2014, 10.1186/s40539-014-0018-1); the windows of three-colour LEDs .3 to .6, an estimate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

Bands = tuple[float, float, float]

MASK: dict[str, Bands] = {
    "white": (0.78, 0.81, 0.79),  # as bought: between fresh and reflowed
    "black": (0.06, 0.06, 0.06),
    "green": (0.08, 0.20, 0.10),
}
UNCERTAINTY = {"white": 0.10, "black": 0.05, "green": 0.08}
"""One standard deviation, plus or minus."""
LED_WINDOW, LED_RIM = 0.45, 0.90
"""The bright window of an LED and the white rim about it."""
PACKAGE_PER_WINDOW = 5.0 / 3.9
"""Edge of a square LED over the diameter of its window: that of the 5050 package."""
BARE, BARE_SHARE = 0.40, 0.15
"""Bare rim, pads, solder and parts: what they throw back, and their share of back and rim (an
estimate)."""

SOURCE = (
    "mask and LEDs weighted by their areas; white mask as bought, between fresh (.85 to .95, "
    "product curves in a trade magazine for board makers, 2016) and reflowed (.70 to .85, "
    "estimate); black, green, LED windows, bare rim and pads: estimates"
)


def share_of_leds(board: Mapping[str, Any]) -> float:
    """Return which share of a board's front its LEDs cover, 0 to 1, from the board's own keys.

    0 where a key that is needed is missing or wrong, which is told elsewhere.
    """
    count, window = board.get("led_count") or 0, board.get("led_window_mm") or 0.0
    if board.get("kind") == "strip":
        area = count * (board.get("pitch_mm") or 0.0) * (board.get("width_mm") or 0.0)
    else:
        outer, circle = board.get("diameter_mm") or 0.0, board.get("ring_diameter_mm") or 0.0
        bore = max(0.0, 2 * circle - outer) if board.get("kind") == "ring" else 0.0
        area = math.pi / 4 * (outer**2 - bore**2)
    return min(1.0, count * (PACKAGE_PER_WINDOW * window) ** 2 / area) if area > 0 else 0.0


def front_of_mask(mask: str, led_share: float) -> Bands:
    """Return what the side with the LEDs throws back, LEDs and mask weighted by their areas."""
    window = math.pi / 4 / PACKAGE_PER_WINDOW**2
    led = window * LED_WINDOW + (1 - window) * LED_RIM
    return _mixed(led, led_share, MASK[mask])


def back_of_mask(mask: str) -> Bands:
    """Return what back and rim of a board throw back."""
    return _mixed(BARE, BARE_SHARE, MASK[mask])


def _mixed(other: float, share: float, mask: Bands) -> Bands:
    red, green, blue = (round(share * other + (1 - share) * own, 3) for own in mask)
    return red, green, blue
