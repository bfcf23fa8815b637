"""Equal rows of a table, beside numpy's own search."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from glowsim.geometry.rows import unique_rows


@pytest.mark.parametrize("kinds", [1, 3, 1000])
def test_rows_are_ordered_and_numbered_as_numpy_does(kinds: int) -> None:
    table = np.random.default_rng(7).integers(-kinds, kinds, (500, 3)) / 8
    rows, first, number = np.unique(table, axis=0, return_index=True, return_inverse=True)
    mine, which = unique_rows(table)
    assert_array_equal(mine, first)
    assert_array_equal(which, number.ravel())
    assert_array_equal(table[mine], rows)


def test_a_table_without_rows_has_none() -> None:
    first, number = unique_rows(np.zeros((0, 3)))
    assert len(first) == len(number) == 0
