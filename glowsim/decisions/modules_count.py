"""One number of boards, solved: what `modules` compares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from glowsim.catalogue import Board
from glowsim.decisions.bound import Gap
from glowsim.decisions.placer import Expected
from glowsim.decisions.step import Step
from glowsim.plain import picked
from glowsim.scene import Light

JOINTS_PER_WIRE = 2
"""One at each end of the lead to the board before (common practice, no source)."""
WIRES = {"rgb": 3, "white": 2}
"""Supply, ground and, for addressable colours, data (common practice, no source)."""


@dataclass(frozen=True)
class Count:
    """One number of one kind of board, at the best places found, solved.

    expected  : by the response matrix, None along a path;  factor : what the drive was multiplied
                with
    current_ma, power_w : of all boards of one body, as driven;  leds, joints : of one body
    lights    : the boards, in the body's own frame;  text_of_scene : the scene with them
    gap       : what is left up to the bound, None along a path, which has none
    """

    board: str
    count: int
    step: Step
    expected: Expected | None
    factor: float
    current_ma: float
    power_w: float
    leds: int
    joints: int
    lights: tuple[Light, ...]
    text_of_scene: str
    gap: Gap | None

    def as_json(self) -> dict[str, Any]:
        """Return plain data."""
        plain = self.step.as_json()
        del plain["value_mm"]
        return {
            **picked(self, "board", "count", "leds", "joints", current_ma=2, power_w=4),
            "predicted_p5_over_mean": self.expected and round(self.expected.even, 5),
            "predicted_off_by": self.expected and round(self.expected.off_by, 5),
            "drive_factor": round(self.factor, 5),
            "boards": [light.model_dump(exclude_none=True) for light in self.lights],
        } | plain


def joints_of(board: Board) -> int:
    """Return the solder joints that one board takes."""
    return WIRES[board.drive] * JOINTS_PER_WIRE
