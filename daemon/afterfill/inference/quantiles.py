"""Weighted quantiles of particles."""

import math
from functools import lru_cache

import numpy as np

from afterfill.inference.filter.streams import Array
from afterfill.records import Quantiles

POINTS = np.array([0.05, 0.50, 0.95])
_NEGLIGIBLE = 1e-7  # all such particles together weigh less than a ten-thousandth
_ALIKE = (0.05, 0.50, 0.95)


def quantiles_alike(values: Array) -> Quantiles:
    """The same points of `values` (n,) that all weigh the same."""
    low, middle, high = np.sort(values)[_rows(values.size)].tolist()
    return Quantiles(low, middle, high)


@lru_cache(maxsize=8)
def _rows(n: int) -> list[int]:
    return [min(math.ceil(p * n) - 1, n - 1) for p in _ALIKE]


def quantiles_of(values: Array, weights: Array) -> Quantiles:
    """5, 50 and 95 % points of `values` (n,) under `weights` (n,), which sum to one. Where none
    weighs anything, of all values alike."""
    if not np.any(weights > _NEGLIGIBLE):
        return quantiles_alike(values)
    matters = np.flatnonzero(weights > _NEGLIGIBLE)  # often a third of them: sorting is the cost
    values, weights = values[matters], weights[matters]
    if not values.any():
        return Quantiles(0.0, 0.0, 0.0)
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    index = np.minimum(np.searchsorted(reached, reached[-1] * POINTS), values.size - 1)
    low, middle, high = values[order[index]]
    return Quantiles(float(low), float(middle), float(high))
