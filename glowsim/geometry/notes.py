"""What is said of a body besides its shape: plain notes, and doubts that only the maker settles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


class Doubt(str):
    """A note that asks the maker something; `check` counts it among what to look at."""

    __slots__ = ()


class Closure(Doubt):
    """What is asked about a wide hole that was closed.

    rim_mm : (n, 3) float, the corners around it
    """

    __slots__ = ("rim_mm",)

    rim_mm: NDArray[np.float64]

    @classmethod
    def of(cls, rim_mm: NDArray[np.float64], text: str) -> Closure:
        """Return the question about a hole."""
        note = cls(text)
        note.rim_mm = rim_mm
        return note

    @property
    def place_mm(self) -> NDArray[np.float64]:
        """Its middle, (3,) float [mm]."""
        return np.asarray(self.rim_mm.mean(axis=0))

    @property
    def width_mm(self) -> float:
        """Its greatest extent along x, y or z [mm]."""
        return float(np.ptp(self.rim_mm, axis=0).max())
