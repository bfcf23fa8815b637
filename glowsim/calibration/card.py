"""A thick piece beside white paper: what share of the light it sends back."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from glowsim.calibration.forward import (
    Doubts,
    Foreseen,
    Optics,
    back_and_through,
    optics_doubts,
    slopes_of,
)
from glowsim.calibration.readings import Card
from glowsim.geometry.mesh import FloatArray

ABSORBED_ERROR = 0.02
"""Of the formula, as a share of what does not come back (against adding-doubling, seven thick
pieces: 0.1 to 1.9 %)."""
THICK = 3.0
"""Decay lengths from which what lies behind the piece hardly counts."""


def card_signal(card: Card, optics: Optics) -> FloatArray:
    """Return ln of the reflectance of the piece, (1,) float.

    A camera facing a piece in even light sees the reflectance of a beam along the normal
    (reciprocity).
    """
    back, _ = back_and_through(optics, card.thickness_mm)
    return np.log(np.atleast_1d(back))


@dataclass(frozen=True)
class CardSeries:
    """A card as a series of one reading."""

    card: Card
    name: str
    labels: tuple[str, ...] = ("beside paper",)
    measured: FloatArray = field(init=False)
    profile: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "measured", np.log([self.card.reflectance]))

    def foreseen(self, optics: Optics) -> Foreseen:
        """Return the reflectance that would be found."""
        return Foreseen(self._signal(optics), slopes_of(self._signal, optics))

    def _signal(self, optics: Optics) -> FloatArray:
        return card_signal(self.card, optics)

    def doubts(self, optics: Optics) -> Doubts:
        """Return camera, paper, index, g and formula."""
        back = float(np.exp(self._signal(optics)[0]))
        camera = self.card.reading_error / np.sqrt(len(self.card.piece))
        formula = ABSORBED_ERROR * (1.0 - back) / back
        own = camera**2 + formula**2 + self.card.paper_error**2
        return Doubts(np.array([[own]]), optics_doubts(self._signal, optics))

    def cautions(self, optics: Optics) -> tuple[str, ...]:
        """Return whether the piece is too thin to hide what lies behind it."""
        needed = THICK / optics.decay_per_mm
        if self.card.thickness_mm >= needed:
            return ()
        # A piece on black is foreseen as thick as it is: only what black sends back is left out.
        return (
            f"{self.name}: the piece is {self.card.thickness_mm:g} mm thick and lets light through "
            f"to what lies behind it; take {needed:.2g} mm, and black cloth behind",
        )
