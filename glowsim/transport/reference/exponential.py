"""Tables for drawing from exp(-x) by layers of equal area.

Marsaglia & Tsang, The ziggurat method for generating random variables, J. Stat. Softw. 5 (8),
2000. Layer 0 is the bottom strip with the tail beyond `LAST`; above it lie 255 strips, each as
wide as the curve at its lower edge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LAYERS = 256
LAST = 7.69711747013104972
"""Where the tail begins: the value for which 256 layers of one area just fill the curve."""


def _edges() -> NDArray[np.float64]:
    """Return the width of each strip from the bottom up, 0 at the top of the curve."""
    area = (LAST + 1.0) * np.exp(-LAST)
    edges = [area / np.exp(-LAST), LAST]
    while len(edges) < LAYERS:
        edges.append(-np.log(np.exp(-edges[-1]) + area / edges[-1]))
    return np.array([*edges, 0.0])


_EDGES = _edges()
WIDTH = _EDGES[:-1].copy()
QUICK = _EDGES[1:].copy()
"""A place nearer than this in a strip lies below the curve for sure."""
HEIGHT = np.exp(-_EDGES)
"""The curve at each strip's lower edge; that of the bottom strip is not used."""
