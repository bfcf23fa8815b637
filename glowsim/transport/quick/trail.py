"""The field of the last answer, for the next one to start from.

A light whose board stands still keeps its field but for the shadow of what moves: beside a strip
that is dragged another one needs no step at all, and the dragged one three or four of five.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.mesh import FloatArray, IntArray
from glowsim.transport.quick.cloud import Cloud
from glowsim.transport.quick.elements import found_rows

Guess = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Fields:
    """Fields of lights, and the nodes that boards add to the body's own.

    bands  : of each band, (nodes + k, lights) float
    origin : (k,) int, the body's node in whose place each further one stands
    copy   : (k,) int, 1, 2 ... of those that stand in one place
    """

    bands: tuple[Guess, ...]
    origin: IntArray
    copy: IntArray

    def on(self, cloud: Cloud) -> tuple[Guess, ...]:
        """Return the fields on the nodes of the same body with other boards, or boards moved."""
        origin, copy = cloud.further
        own = cloud.node_count - len(origin)
        many = 1 + max(int(self.copy.max(initial=0)), int(copy.max(initial=0)))
        keys = many * self.origin + self.copy
        order = np.argsort(keys)
        row = found_rows(keys[order], many * origin + copy)
        row = np.where(row >= 0, np.append(order, -1)[row], -1)
        which = np.concatenate([np.arange(own), np.where(row >= 0, own + row, origin)])
        return tuple(band[which] for band in self.bands)


class Trail:
    """What the answers about one body leave behind; any number of threads may use it."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._last: Fields | None = None

    def start(self, cloud: Cloud | None, lights: int) -> tuple[Guess, ...] | None:
        """Return a guess of the fields of lights in each band, (nodes, lights); None for none."""
        last = self._last
        if last is None or cloud is None or last.bands[0].shape[1] != lights:
            return None
        return last.on(cloud)

    def keep(self, cloud: Cloud | None, bands: tuple[FloatArray, ...]) -> None:
        """Keep the fields of an answer in place of the one before, in short numbers."""
        if cloud is not None:
            short = tuple(band.astype(np.float32) for band in bands)
            self._last = Fields(short, *cloud.further)
