"""Weights, effective sample size, systematic resampling and kernel shrinkage within groups.

Groups keep their total weight: what the evidence made of a hypothesis is not lost by resampling, so
a hypothesis that looks unlikely now can still come back. Nothing here knows what a row means.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.filter.streams import Array, uniform

LEAST_SHARE = 0.4  # of a group's particles still effective; less often made intervals too narrow
LEAST_TOTAL = 1e-12  # of a group: it can still come back
LEAST_WEIGHT = 1e-250
SHRINKAGE = 0.7  # wide: the law is only a shape, and a narrow kernel made intervals too narrow
_MOVE = float(np.sqrt(1.0 - SHRINKAGE**2))


def reweighted(weights: Array, log_likelihood: Array) -> Array:
    """The weights (n,) after `log_likelihood` (n,). None gets so small that it is lost for good."""
    raw = weights * np.exp(log_likelihood - log_likelihood.max())
    raw /= raw.sum()
    return np.asarray(np.maximum(raw, LEAST_WEIGHT))


def depleted(weights: Array, groups: Sequence[slice]) -> list[int]:
    """The groups whose effective sample size (1 / sum of squared shares; Kong, Liu & Wong 1994,
    from memory) has fallen below LEAST_SHARE; none of a group that itself weighs nothing."""
    found = []
    for number, rows in enumerate(groups):
        part = weights[rows]
        total, squares = float(part.sum()), float(part @ part)
        if total > LEAST_TOTAL and total * total < LEAST_SHARE * part.size * squares:
            found.append(number)
    return found


def resampled(
    weights: Array, groups: Sequence[slice], these: Sequence[int]
) -> tuple[NDArray[np.intp], Array]:
    """Systematic resampling of the groups `these`: which particle each one is taken from, and the
    weights after it."""
    index, after = np.arange(weights.size), weights.copy()
    for number in these:
        rows = groups[number]
        part = weights[rows]
        index[rows] = rows.start + _systematic(part)
        after[rows] = max(float(part.sum()), LEAST_TOTAL) / part.size
    return index, after


def _systematic(weights: Array) -> NDArray[np.intp]:
    reached = np.cumsum(weights) / np.sum(weights)
    points = (np.arange(weights.size) + 0.5) / weights.size
    return np.minimum(np.searchsorted(reached, points), weights.size - 1)


def shrunk(values: Array, groups: Sequence[slice]) -> Array:
    """Rows of `values` (k, n), each particle shrunk towards its group's mean and moved by another
    one's own deviation, so that means, variances and correlations stay (kernel shrinkage of Liu &
    West 2001, in: Sequential Monte Carlo Methods in Practice, ch. 10, with deviations from the
    population itself; from memory)."""
    moved = values.copy()
    for rows in groups:
        part = values[:, rows]
        off = part - part.mean(axis=1, keepdims=True)
        partner = np.argsort(uniform(part.shape[1], "partner"), kind="stable")
        moved[:, rows] += (SHRINKAGE - 1.0) * off + _MOVE * off[:, partner]
    return moved
