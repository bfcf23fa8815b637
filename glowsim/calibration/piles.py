"""Piles over a hole: what a meter on the middle reads."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from glowsim.calibration.forward import (
    FREE,
    STEP,
    Doubts,
    Foreseen,
    Optics,
    back_and_through,
    optics_doubts,
    slopes_of,
)
from glowsim.calibration.readings import Piles
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.hole import hole_share

MODEL_ERROR = 0.02
"""Of the formula: slab against adding-doubling 2.2 %, share of the hole 1.6 %."""
COMMON_THICKNESS = 1.3
"""What all sheets are off together, over what each pile is off by itself."""
COMMON_HEIGHT = 0.5
"""The same where each pile was measured by itself: how the ruler stood (opinion)."""
THIN = 1.0
"""mu_s' d below which the formula does not serve."""


def pile_signal(piles: Piles, optics: Optics, stretch: float = 1.0) -> FloatArray:
    """Return ln of what is read through each pile over the bare hole, (m,) float.

    stretch : factor on all thicknesses
    """
    thickness = stretch * np.array(piles.thickness_mm)
    _, through = back_and_through(optics, thickness)
    share = [
        hole_share(
            hole_radius_mm=0.5 * piles.hole_diameter_mm,
            thickness_mm=float(d),
            mu_a_per_mm=optics.mu_a_per_mm,
            mu_s_reduced_per_mm=optics.mu_s_reduced_per_mm,
            n=optics.n,
        )
        for d in thickness
    ]
    return np.log(np.maximum(through * np.array(share), 1e-300))


@dataclass(frozen=True)
class PileSeries:
    """Piles as one series of readings."""

    piles: Piles
    name: str
    labels: tuple[str, ...] = field(init=False)
    measured: FloatArray = field(init=False)
    profile: bool = False

    def __post_init__(self) -> None:
        words = tuple(f"{d:g} mm" for d in self.piles.thickness_mm)
        object.__setattr__(self, "labels", words)
        over = self.piles.bare or self.piles.reading[0]
        object.__setattr__(self, "measured", np.log(np.array(self.piles.reading) / over))

    def foreseen(self, optics: Optics) -> Foreseen:
        """Return what would be read; without a bare reading, up to a scale."""
        return Foreseen(pile_signal(self.piles, optics), slopes_of(self._signal, optics))

    def _signal(self, optics: Optics) -> FloatArray:
        return pile_signal(self.piles, optics)

    def doubts(self, optics: Optics) -> Doubts:
        """Return meter, thickness (each and all), bare hole, index, g and formula."""
        piles = self.piles
        longer, shorter = (pile_signal(piles, optics, np.exp(s)) for s in (STEP, -STEP))
        by_thickness = (longer - shorter) / (2 * STEP)
        each, all_together = _heights_off(piles)
        fixed = piles.reading_error**2 + MODEL_ERROR**2
        own = fixed + (each * by_thickness) ** 2
        scale = FREE if piles.bare is None else piles.bare_error
        return Doubts(
            np.diag(own),
            optics_doubts(self._signal, optics)
            | {
                f"{self.name} sheets": all_together * by_thickness,
                f"{self.name} scale": np.full(len(own), scale),
            },
        )

    def cautions(self, optics: Optics) -> tuple[str, ...]:
        """Return which piles are too thin for the formula."""
        thin = [d for d in self.piles.thickness_mm if d * optics.mu_s_reduced_per_mm < THIN]
        if not thin:
            return ()
        named = ", ".join(f"{d:g}" for d in thin)
        least = THIN / optics.mu_s_reduced_per_mm
        return (
            f"{self.name}: {named} mm is so thin for this material that much light runs straight "
            f"through; use piles of {least:.2g} mm and more",
        )


def _heights_off(piles: Piles) -> tuple[FloatArray, FloatArray]:
    """Return what each pile's height is off by itself, and all together, as shares, (m,) each."""
    if piles.height_error_mm is None:
        each = np.full(len(piles.thickness_mm), piles.thickness_error)
        return each, COMMON_THICKNESS * each
    each = piles.height_error_mm / np.array(piles.thickness_mm)
    return each, COMMON_HEIGHT * each
