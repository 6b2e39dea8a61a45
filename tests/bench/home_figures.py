"""Figures of many homes: a share, a rate, a median, each with its interval, bar and goal."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from bench import home_questions as asked
from bench.figures import Band, Figure
from bench.home_questions import Mask
from bench.home_truths import MIDDLE, TRUTH, Lived
from bench.intervals import bootstrap, poisson, wilson

_HOUR_S = 3600.0


def share_of(
    name: str, of: Sequence[object], is_so: Callable[..., bool], bar: float, goal: float,
    *, least: bool = False,
) -> Figure:  # fmt: skip
    """In how many `is_so`: at most, or `least`, so many."""
    hits = [bool(is_so(one)) for one in of]
    low, high = wilson(sum(hits), len(hits))
    value = sum(hits) / len(hits) if hits else float("nan")
    bands = ((bar, 1.0), (goal, 1.0)) if least else ((0.0, bar), (0.0, goal))
    return Figure(name, value, low, high, f"{sum(hits)} of {len(hits)}", *bands)


def moments_of(
    name: str, homes: Sequence[Lived], of: Callable[[Lived], Mask],
    bar: Band | None = None, goal: Band | None = None,
) -> Figure:  # fmt: skip
    """The share of their moments, with whole homes drawn again."""

    def share(some: Sequence[Lived]) -> float:
        all_of = _joined(of(home) for home in some)
        return float(np.mean(all_of)) if all_of.size else float("nan")

    found = _joined(of(home) for home in homes)
    note = f"{found.sum()} of {found.size} moments, {len(homes)} homes"
    return Figure(name, share(homes), *bootstrap(homes, share), note, bar, goal)


def _joined(parts: Iterable[Mask]) -> Mask:
    return np.concatenate([np.empty(0, bool), *parts])


def ratio_of(name: str, homes: Sequence[Lived]) -> Figure:
    """Median of estimate over truth in the second hour."""

    def median(some: Sequence[Lived]) -> float:
        moments = [asked.since(h, _HOUR_S, 2 * _HOUR_S) for h in some]
        ratios = np.concatenate([np.empty(0), *(m[:, MIDDLE] / m[:, TRUTH] for m in moments)])
        return float(np.median(ratios)) if ratios.size else float("nan")

    low, high = bootstrap(homes, median)
    return Figure(name, median(homes), low, high, f"{len(homes)} homes", (0.5, 2.0), (0.75, 1.33))


def delay_of(name: str, homes: Sequence[Lived], bar: float, goal: float) -> Figure:
    """Median of the alarm's delay [min]; never counts as endless."""

    def median(some: Sequence[Lived]) -> float:
        return float(np.median([asked.delay_s(h) for h in some])) / 60.0 if some else float("nan")

    low, high = bootstrap(homes, median)
    return Figure(name, median(homes), low, high, f"of {len(homes)}", (0.0, bar), (0.0, goal))


def rate_of(
    name: str, homes: Sequence[Lived], count: Callable[[Lived], int], bar: float, goal: float
) -> Figure:
    """So many a tank-year."""
    years, events = sum(h.days for h in homes) / 365.25, sum(count(h) for h in homes)
    low, high = poisson(events, years)
    value = events / years if years else float("nan")
    note = f"{events} in {years * 365.25:.0f} days of {len(homes)}"
    return Figure(name, value, low, high, note, (0.0, bar), (0.0, goal))


def pinball_of(refills: Sequence[Lived]) -> Figure:
    """The loss of their quantiles over that of the mass balance alone."""

    def ratio(some: Sequence[Lived]) -> float:
        against = sum(h.loss_of_mass_balance for h in some)
        return sum(h.loss for h in some) / against if against else float("nan")

    low, high = bootstrap(refills, ratio)
    name = "pinball loss against mass balance alone"
    return Figure(name, ratio(refills), low, high, f"{len(refills)} homes", (0.0, 0.5), (0.0, 0.35))


def crashes_of(homes: Sequence[Lived]) -> Figure:
    """Homes on a record of which the inference failed."""
    of = f"{sum(h.failures for h in homes)} records"
    found = share_of("homes in which the inference failed", homes, _failed, 0.0, 0.0)
    return Figure(
        found.name, found.value, found.low, found.high, f"{found.note}; {of}", found.bar, found.goal
    )


def _failed(home: Lived) -> bool:
    return home.failures > 0
