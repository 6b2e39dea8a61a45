"""Ranks of a truth among weighted draws, and whether they are spread evenly.

Talts et al. 2018, arXiv 1804.06788, for the ranks; bands that hold for the whole empirical
distribution at once after Säilynoja, Bürkner & Vehtari 2022, Stat. Comput. 32:32, by simulation
(both from memory).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

Array = NDArray[np.float64]
POINTS = np.arange(1, 20) / 20.0
_BINS = 10
_REPEATS = 4000


def rank_of(truth: float, values: Array, weights: Array, random: np.random.Generator) -> float:
    """The share of `values` (n,) of `weights` (n,) below `truth`, in [0, 1]; where some equal it,
    drawn evenly between what lies below and what does not lie above."""
    total = float(np.sum(weights))
    below = float(np.sum(weights[values < truth])) / total
    alike = float(np.sum(weights[values == truth])) / total
    return min(below + float(random.random()) * alike, 1.0)


@dataclass(frozen=True)
class Evenness:
    """`counts` of ranks in ten bins and the chi-square test of them; `off`: empirical distribution
    less an even one at POINTS; `p`: how often even ranks somewhere lie as far off (all POINTS at
    once): at least 0.05 is inside the band of 95 %, at least 0.01 inside that of 99 %."""

    n: int
    counts: list[int]
    chi_square_p: float
    off: Array
    p: float


def evenness(ranks: ArrayLike) -> Evenness:
    """How evenly `ranks` (n,), at least one, are spread over [0, 1]."""
    found = np.asarray(ranks, float)
    counts = np.histogram(found, _BINS, (0.0, 1.0))[0]
    reached = np.array([np.sum(found <= point) for point in POINTS], float)
    least = _least_tail(reached[None, :], found.size)[0]
    p = float(np.mean(_least_tails(found.size) <= least))
    chi = float(stats.chisquare(counts).pvalue)
    return Evenness(found.size, counts.tolist(), chi, reached / found.size - POINTS, p)


def band(n: int, level: float) -> tuple[Array, Array]:
    """Least and most of `off` at POINTS for `n` even ranks, so that `level` of them (0-1) stay
    inside everywhere."""
    tail = float(np.quantile(_least_tails(n), 1.0 - level))
    low, high = stats.binom.ppf(tail / 2.0, n, POINTS), stats.binom.isf(tail / 2.0, n, POINTS)
    return low / n - POINTS, high / n - POINTS


def _least_tail(reached: Array, n: int) -> Array:
    """Of each row of counts at POINTS, twice the smallest binomial tail."""
    at_most = stats.binom.cdf(reached, n, POINTS)
    at_least = stats.binom.sf(reached - 1, n, POINTS)
    return np.asarray(2.0 * np.minimum(at_most, at_least).min(axis=1))


@lru_cache(maxsize=8)
def _least_tails(n: int) -> Array:
    """The same of many sets of `n` even ranks (seeded)."""
    shares = np.diff([0.0, *POINTS, 1.0])
    drawn = np.random.default_rng(1).multinomial(n, shares, _REPEATS)
    return _least_tail(np.cumsum(drawn, axis=1)[:, :-1].astype(float), n)
