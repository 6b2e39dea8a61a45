"""Whether probabilities mean what they say: the Brier score in three parts.

Score = miscalibration - discrimination + uncertainty, where the recalibrated probabilities are the
isotonic regression of what came true on what was said (CORP: Dimitriadis, Gneiting & Jordan 2021,
PNAS 118:e2016191118; from memory).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
_REPEATS = 200


class Brier(NamedTuple):
    """The mean square error of probabilities, and its parts; each at least 0."""

    score: float
    miscalibration: float
    discrimination: float
    uncertainty: float


def recalibrated(said: ArrayLike, true: ArrayLike) -> Array:
    """The isotonic regression of `true` (n,), 0 or 1, on `said` (n,), by pooling adjacent
    violators; what was said alike stays alike."""
    p, y = np.asarray(said, float), np.asarray(true, float)
    _, place, count = np.unique(p, return_inverse=True, return_counts=True)
    means = np.bincount(place, weights=y) / count
    pools: list[tuple[float, float, int]] = []  # mean, weight, values
    for mean, weight in zip(means, count, strict=True):
        pool = (float(mean), float(weight), 1)
        while pools and pools[-1][0] >= pool[0]:
            before = pools.pop()
            both = before[1] + pool[1]
            mixed = (before[0] * before[1] + pool[0] * pool[1]) / both
            pool = (mixed, both, before[2] + pool[2])
        pools.append(pool)
    levels = np.repeat([pool[0] for pool in pools], [pool[2] for pool in pools])
    return np.asarray(levels[place])


def brier(said: ArrayLike, true: ArrayLike) -> Brier:
    """The parts of the score of probabilities `said` (n,) of what came `true` (n,) or not; NaN
    where there are none."""
    p, y = np.asarray(said, float), np.asarray(true, float)
    if not p.size:
        return Brier(*[float("nan")] * 4)
    score, best, flat = (
        float(np.mean((q - y) ** 2)) for q in (p, recalibrated(p, y), np.full(p.size, y.mean()))
    )
    return Brier(score, score - best, flat - best, flat)


def miscalibration_by_chance(said: ArrayLike) -> float:
    """The mean miscalibration that so many probabilities show when all of them are right: the
    regression fits chance as well (seeded)."""
    p, random = np.asarray(said, float), np.random.default_rng(1)
    if not p.size:
        return float("nan")
    drawn = (random.random(p.size) < p for _ in range(_REPEATS))
    return float(np.mean([brier(p, true).miscalibration for true in drawn]))
