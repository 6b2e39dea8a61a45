"""95 % intervals of the bench's figures."""

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np

T = TypeVar("T")
_REPEATS = 400


def wilson(hits: int, of: int) -> tuple[float, float]:
    """Of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209; from memory)."""
    if of == 0:
        return 0.0, 1.0
    z, p = 1.96, hits / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return max(middle - half, 0.0), min(middle + half, 1.0)


def poisson(count: int, exposure: float) -> tuple[float, float]:
    """Of a rate, from a count over an exposure (Garwood's limits by the approximation of Wilson
    and Hilferty; from memory)."""
    if exposure <= 0.0:
        return 0.0, math.inf
    low = 0.0 if count == 0 else _hilferty(count, -1.96)
    return low / exposure, _hilferty(count + 1, 1.96) / exposure


def _hilferty(count: int, z: float) -> float:
    return float(count * (1 - 1 / (9 * count) + z / (3 * math.sqrt(count))) ** 3)


def bootstrap(of: Sequence[T], figure: Callable[[Sequence[T]], float]) -> tuple[float, float]:
    """Of any figure, by drawing whole stories again (seeded)."""
    if len(of) < 2:
        return -math.inf, math.inf
    random = np.random.default_rng(1)
    found = []
    for _ in range(_REPEATS):
        value = figure([of[i] for i in random.integers(0, len(of), len(of))])
        if not math.isnan(value):
            found.append(value)
    if not found:
        return -math.inf, math.inf
    low, high = np.quantile(found, (0.025, 0.975), method="nearest")
    return float(low), float(high)
