"""Evidence against figures, valid whenever one looks: e-processes.

If the figures are right, where a test's value stands in what was said (`predictive`) is uniform
whatever happened before. A bet against that, at fair odds, multiplies its stake by a density on
[0, 1]; rounding leaves an interval, on which the density's mean is taken. The stake, on average,
never grows while the figures are right, so by Ville's inequality it ever reaches 20 in at most one
of twenty tanks, however often one looks. The idea of testing calibration so is that of Arnold,
Henzi & Ziegel, Sequentially valid tests for forecast calibration, Annals of Applied Statistics
17(3), 2023 (arXiv 2109.11761; abstract read). The choices below are ours:

- the bets are fixed and share the stake, where they fit a beta density to what has been seen: a
  keeper has a dozen tests, not a thousand;
- each bet takes the least of what it wins over all sizes of the kit's error, since that is not
  known: what it wins nevertheless is won whatever the kit, and a kit that reads zero on empty water
  more often than it should is no evidence;
- the stake is spread over the tests from which on the figures may be wrong, since a probe ages;
- there is none on figures that are less sure than they need be: that costs no fish.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Literal, NamedTuple

from afterfill.audit.predictive import Span

Fault = Literal["too-low", "too-high", "too-sure"]
REJECTED = 20.0  # reached by chance in one of twenty at most
_LEAST_WIDTH = 1e-3  # of an interval: what is rarer is no more telling
_MOST = 1e12  # beyond it a figure is no more telling
_ODDS = (3.0, 10.0)


class Bet(NamedTuple):
    """That the figures have this `fault`: `won` is the integral, from 0, of the density on [0, 1]
    by which the stake is multiplied."""

    fault: Fault
    won: Callable[[float], float]


def _bets(power: int) -> tuple[Bet, ...]:
    """Beta(power, 1), its mirror image, and half of each: integrals in closed form."""

    def low(u: float) -> float:
        return float(u**power)

    def high(u: float) -> float:
        return 1.0 - low(1.0 - u)

    return (
        Bet("too-low", low),
        Bet("too-high", high),
        Bet("too-sure", lambda u: 0.5 * (low(u) + high(u))),
    )


BETS = (*_bets(3), *_bets(8))  # a timid and a bold one on each fault; our judgement


def won(bet: Bet, spans: Sequence[Span]) -> float:
    """By how much a bet multiplies its stake: the least over the kit's possible errors."""
    return min(_mean_density(bet, span) for span in spans)


def _mean_density(bet: Bet, span: Span) -> float:
    low, high = span
    if high - low < _LEAST_WIDTH:  # widened towards the middle, which wins less
        low, high = (high - _LEAST_WIDTH, high) if high > 0.5 else (low, low + _LEAST_WIDTH)
        low, high = max(low, 0.0), min(high, 1.0)
    return (bet.won(high) - bet.won(low)) / (high - low)


def stake(factors: Iterable[float]) -> float:
    """The stake after all tests, of 1 at the beginning: of it, 1 / (n (n + 1)) is put on test n and
    all after it."""
    running, tests = 0.0, 0
    for tests, factor in enumerate(factors, start=1):
        running = min((running + 1.0 / (tests * (tests + 1))) * factor, _MOST)
    return running + 1.0 / (tests + 1)


def stakes(answers: Sequence[Sequence[Span]]) -> dict[Fault, float]:
    """The mean stake on each fault, after tests that stood at `answers` (see `standings`)."""
    ends: dict[Fault, list[float]] = {}
    for bet in BETS:
        ends.setdefault(bet.fault, []).append(stake(won(bet, spans) for spans in answers))
    return {fault: sum(of) / len(of) for fault, of in ends.items()}


def stake_on_more_often(said: Sequence[tuple[float, bool]]) -> float:
    """The stake on events being more frequent than was `said`: pairs of the highest probability
    that the saying allows, and whether it happened. The odds are taken for 3 and 10 times as said;
    where the truth is less frequent than allowed, this wins less than nothing."""
    ends = [stake(_ratio(p, happened, odds) for p, happened in said) for odds in _ODDS]
    return sum(ends) / len(ends)


def _ratio(p: float, happened: bool, odds: float) -> float:
    taken = odds * p / (1.0 - p + odds * p)
    return taken / p if happened else (1.0 - taken) / (1.0 - p)
