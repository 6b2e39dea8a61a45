"""Said and come true: probabilities over the limit beside how often a test showed it."""

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

_EDGES = (0.0, 0.05, 0.5, 0.9)  # clear, possible, carried over begin here; and the middle
_LEAST = 5  # fewer tell nothing of a share
_Z = 1.96


class Bin(NamedTuple):
    """Of `n` times that about `said` was said (a mean probability), `came_true` were so; `low` and
    `high`: the share that this allows (95 %)."""

    said: float
    came_true: int
    n: int
    low: float
    high: float

    @property
    def tells(self) -> bool:
        """Whether there are enough to tell."""
        return self.n >= _LEAST


def bins(said: Sequence[tuple[float, bool]]) -> tuple[Bin, ...]:
    """Pairs of a probability and whether it came true, in at most four bins."""
    groups: dict[int, list[tuple[float, bool]]] = {}
    for p, happened in said:
        number = sum(p > edge for edge in _EDGES[1:])
        groups.setdefault(number, []).append((p, happened))
    return tuple(_bin(groups[number]) for number in sorted(groups))


def _bin(pairs: Sequence[tuple[float, bool]]) -> Bin:
    n, true = len(pairs), sum(happened for _, happened in pairs)
    return Bin(sum(p for p, _ in pairs) / n, true, n, *share_between(true, n))


def share_between(true: int, n: int) -> tuple[float, float]:
    """The share that `true` of `n` (at least 1) allow with 95 % confidence: Wilson's score interval
    (1927; from memory)."""
    share, z2 = true / n, _Z * _Z
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = _Z * sqrt(share * (1 - share) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return max(middle - half, 0.0), min(middle + half, 1.0)
