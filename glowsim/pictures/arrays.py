"""Kinds of arrays that pictures are made of; single precision is enough for most."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Ints = NDArray[np.signedinteger[Any]]
Numbers = NDArray[np.floating[Any] | np.signedinteger[Any]]
Pixels = NDArray[np.uint8]
