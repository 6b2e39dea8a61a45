"""Weighted quantiles of particles."""

import math
from collections.abc import Sequence
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


def quantiles_alike_of_each(rows: Array) -> list[Quantiles]:
    """The same for each row of (k, n)."""
    return [Quantiles(*row) for row in np.sort(rows)[:, _rows(rows.shape[1])].tolist()]


@lru_cache(maxsize=8)
def _rows(n: int) -> list[int]:
    return [min(math.ceil(p * n) - 1, n - 1) for p in _ALIKE]


def quantiles_of(values: Array, weights: Array) -> Quantiles:
    """5, 50 and 95 % points of `values` (n,) under `weights` (n,), which sum to one. Where none
    weighs anything, of all values alike."""
    return quantiles_of_each([values], weights)[0]


def quantiles_of_each(rows: Sequence[Array], weights: Array) -> list[Quantiles]:
    """The same for each of `rows`, arrays (n,) under the same weights."""
    heavy = weights > _NEGLIGIBLE
    matters = np.flatnonzero(heavy)  # often a third of them: sorting is the cost
    if not matters.size:
        return [quantiles_alike(values) for values in rows]
    weights = weights[matters]
    return [_quantiles(values[matters], weights) for values in rows]


def _quantiles(values: Array, weights: Array) -> Quantiles:
    if not values.any():
        return Quantiles(0.0, 0.0, 0.0)
    order = values.argsort(kind="stable")
    reached = weights[order].cumsum()
    index = np.minimum(reached.searchsorted(reached[-1] * POINTS), values.size - 1)
    low, middle, high = values[order[index]].tolist()
    return Quantiles(low, middle, high)
