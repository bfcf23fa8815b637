# mypy: disable-error-code="untyped-decorator"
"""The compiled part of `rowwise`."""

from __future__ import annotations

from numba import uint64

from glowsim.geometry.mesh import FloatArray
from glowsim.transport.quick.rowwise import ALIKE, LOOSE, UnsignedArray
from glowsim.transport.reference.compiled import compiled


@compiled
def multiply(
    first: UnsignedArray,
    kind: UnsignedArray,
    indptr: UnsignedArray,
    indices: UnsignedArray,
    values: FloatArray,
    field: FloatArray,
    result: FloatArray,
) -> None:
    """Add the product of a `RowwiseMatrix` with a field, (n,), to a result."""
    for row in range(uint64(len(kind))):
        start, end = uint64(first[row]), uint64(first[row + uint64(1)])
        if kind[row] == LOOSE:
            for node in range(start, end):
                total = result[node]
                for k in range(uint64(indptr[node]), uint64(indptr[node + uint64(1)])):
                    total += values[k] * field[uint64(indices[k])]
                result[node] = total
            continue
        k, high = uint64(indptr[start]), uint64(indptr[start + uint64(1)])
        count = end - start
        if kind[row] == ALIKE:
            while k < high:
                a, b, c = values[k], values[k + uint64(1)], values[k + uint64(2)]
                at = uint64(indices[k])
                next_at, last_at = at + uint64(1), at + uint64(2)
                for i in range(count):
                    result[start + i] += (
                        a * field[at + i] + b * field[next_at + i] + c * field[last_at + i]
                    )
                k += uint64(3)
            continue
        at = k
        while k + uint64(3) <= high:
            # Three at a time: what they add to is read and written a third as often.
            one, two, three = (
                uint64(indices[k]),
                uint64(indices[k + uint64(1)]),
                uint64(indices[k + uint64(2)]),
            )
            at_two, at_three = at + count, at + count + count
            for i in range(count):
                result[start + i] += (
                    values[at + i] * field[one + i]
                    + values[at_two + i] * field[two + i]
                    + values[at_three + i] * field[three + i]
                )
            at += uint64(3) * count
            k += uint64(3)
        while k < high:
            one = uint64(indices[k])
            for i in range(count):
                result[start + i] += values[at + i] * field[one + i]
            at += count
            k += uint64(1)


@compiled
def add_rows(
    rows: UnsignedArray,
    indptr: UnsignedArray,
    indices: UnsignedArray,
    values: FloatArray,
    field: FloatArray,
    result: FloatArray,
) -> None:
    """Add some rows of the product of a CSR matrix with a field, (n,), to a result."""
    for row in rows:
        node = uint64(row)
        total = result[node]
        for k in range(uint64(indptr[node]), uint64(indptr[node + uint64(1)])):
            total += values[k] * field[uint64(indices[k])]
        result[node] = total
