"""When the reference solver stops, and what it says meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Goal:
    """When to stop: at whichever comes first.

    noise   : relative standard error on the bright faces of every light (see `noise.noise_of`)
    seconds : of this run
    photons : of each light, those of earlier runs included; rounded up to whole batches
    """

    noise: float | None = 0.02
    seconds: float | None = None
    photons: int | None = None


@dataclass(frozen=True)
class Progress:
    """How far a run is.

    what : "compiling" or "photons";  share : done, 0 to 1, as far as can be told
    photons : followed so far, of all lights;  noise : relative standard error of the worst light
    seconds : since this run began
    """

    what: str
    share: float
    photons: int
    noise: float
    seconds: float


Report = Callable[[Progress], None]
