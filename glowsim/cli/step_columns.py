"""The columns that say how even and bright a variant is, alike in every command that compares."""

from __future__ import annotations

from collections.abc import Callable

from glowsim.cli.common import RATIOS, off_text, short, short_share
from glowsim.decisions.step import Step

STEP_COLUMNS: dict[str, Callable[[Step], str]] = {
    "glow": lambda step: step.grade,
    "off by": lambda step: off_text(step.evenness.off_by),
    "5%/mean": lambda step: short_share(step.even),
    "U0": lambda step: short_share(step.evenness.u0),
    "mean": lambda step: short(step.evenness.mean_cd_m2),
    "hot": lambda step: str(step.hot_spots),
    "dark": lambda step: str(step.dark_gaps),
    "looks": lambda step: step.lit.grade,
}
KEY = f"{RATIOS}; hot, dark: spots that stand out"
"""What their headings mean."""


def step_cells(step: Step) -> list[str]:
    """Return what stands in these columns."""
    return [cell(step) for cell in STEP_COLUMNS.values()]


def watts(step: Step) -> str:
    """Return the power of the hottest board, '!' above what heat allows."""
    heat = step.heat
    return "off" if heat is None else f"{heat.power_w:.2g}{' !' if heat.exceeded else ''}"
