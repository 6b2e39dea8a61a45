"""Fixed streams of well-spread draws, so that the same input always gives the same output.

Latin hypercube: in each stream every one of `n` equally likely strata is met once, in an order that
comes from a hash of the stream's name, not from a generator whose sequence may change between
versions. (McKay, Beckman & Conover 1979, Technometrics 21:239 for the design; from memory.) A new
stream changes no other, and hypotheses that read the same stream differ by their hypothesis alone.
"""

import zlib
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def _hashed(keys: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """SplitMix64's finaliser: well mixed 64-bit words (Steele, Lea & Flood 2014, from memory)."""
    z = keys * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@lru_cache(maxsize=256)
def uniform(n: int, stream: str) -> Array:
    """`n` draws in (0, 1), one in each stratum. Read-only; shape (n,)."""
    keys = np.arange(1, n + 1, dtype=np.uint64) + np.uint64(zlib.crc32(stream.encode()) << 20)
    order = np.argsort(_hashed(keys), kind="stable")
    table = (order + 0.5) / n
    table.setflags(write=False)
    return table


@lru_cache(maxsize=256)
def normal(n: int, stream: str) -> Array:
    """`n` standard normal draws, one in each stratum. Read-only; shape (n,)."""
    inverse = NormalDist().inv_cdf
    table = np.array([inverse(float(u)) for u in uniform(n, stream)])
    table.setflags(write=False)
    return table


def log_normal(n: int, stream: str, median: float, sigma: float) -> Array:
    """`n` log-normal draws with this median and this standard deviation of the logarithm."""
    return median * np.exp(sigma * normal(n, stream))
