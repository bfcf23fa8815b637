"""Equal rows of a table found by sorting its columns: several times as quick as `np.unique`."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glowsim.geometry.mesh import IntArray


def unique_rows(table: NDArray[Any]) -> tuple[IntArray, IntArray]:
    """Return the first of each different row of a table (n, k), and which of them each row is.

    As `np.unique` with `axis=0` orders them: `table[first]` are the rows in ascending order,
    `table[first][number]` is the table. first : (m,) int;  number : (n,) int
    """
    if not len(table):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    order = np.lexsort(table.T[::-1])
    ordered = table[order]
    new = np.concatenate([[True], (ordered[1:] != ordered[:-1]).any(axis=1)])
    number = np.zeros(len(table), np.int64)
    number[order] = np.cumsum(new) - 1
    return order[new], number
