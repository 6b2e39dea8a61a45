"""Columns of values as short JSON lists: numbers on a decimal grid as differences.

``[2, 2501, 0, -1]`` is 25.01, 25.01, 25.00: first the decimals, then the first number in units of
the last decimal, then the differences. ``[-1, ...]`` is whole numbers likewise, ``[null, ...]``
the values as they are. What comes back is equal to the last bit.
"""

from collections.abc import Sequence
from itertools import accumulate
from typing import Any

_MOST_DECIMALS = 4
_LARGEST = 1e9  # beyond it a float has no four decimals any more
_INTEGERS = -1


def packed(values: Sequence[Any]) -> list[Any]:
    """The column of `values` (JSON values)."""
    if all(type(value) is int for value in values):
        return [_INTEGERS, *_differences(values)]
    if all(type(value) is float and abs(value) < _LARGEST for value in values):
        for decimals in range(1, _MOST_DECIMALS + 1):
            scale = 10**decimals
            units = [round(value * scale) for value in values]
            if all(repr(u / scale) == repr(v) for u, v in zip(units, values, strict=True)):
                return [decimals, *_differences(units)]
    return [None, *values]


def unpacked(column: Sequence[Any]) -> list[Any]:
    """The values of a column that `packed` made."""
    decimals, *rest = column
    if decimals is None:
        return rest
    units = accumulate(rest)
    if decimals == _INTEGERS:
        return list(units)
    scale = 10**decimals
    return [unit / scale for unit in units]


def _differences(units: Sequence[int]) -> list[int]:
    return [now - before for now, before in zip(units, [0, *units], strict=False)]
