"""Simple detectors on the ORP alone, for comparison: each gives, for a series, the lowest level at
which it would have stayed silent. Tuning is then a choice of one level for all series."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]


def fixed_threshold(time_s: Series, orp_mv: Series) -> Series:
    """The ORP itself: alarm above a level (the same for all tanks, as such devices are set)."""
    return orp_mv


def over_own_level(time_s: Series, orp_mv: Series) -> Series:
    """The ORP over its own mean of the last six hours: a threshold that knows its tank."""
    span = max(int(6 * 3600 / (time_s[1] - time_s[0])), 1)
    total = np.concatenate(([0.0], np.cumsum(orp_mv)))
    first = np.maximum(np.arange(orp_mv.size) - span, 0)
    count = np.maximum(np.arange(orp_mv.size) - first, 1)
    mean = (total[np.arange(orp_mv.size)] - total[first]) / count
    mean[0] = orp_mv[0]
    return np.asarray(orp_mv - mean)


def rate_of_change(time_s: Series, orp_mv: Series) -> Series:
    """The rise over ten minutes."""
    span = max(int(600 / (time_s[1] - time_s[0])), 1)
    rise = np.zeros_like(orp_mv)
    rise[span:] = orp_mv[span:] - orp_mv[:-span]
    return rise


def cusum(time_s: Series, orp_mv: Series) -> Series:
    """One-sided cumulative sum of the ORP over its own level, less an allowance of 3 mV, per
    minute (Page 1954, Biometrika 41:100; from memory)."""
    minutes = (time_s[1] - time_s[0]) / 60.0
    above = (over_own_level(time_s, orp_mv) - 3.0) * minutes
    sums, held = np.zeros_like(orp_mv), 0.0
    for number, value in enumerate(above):
        held = max(held + value, 0.0)
        sums[number] = held
    return sums


DETECTORS: dict[str, Callable[[Series, Series], Series]] = {
    "fixed ORP threshold": fixed_threshold,
    "threshold over own level": over_own_level,
    "rate of change": rate_of_change,
    "CUSUM": cusum,
}
WARM_UP_S = 3600.0


def first_over(time_s: Series, statistic: Series, level: float, from_s: float) -> float | None:
    """Time [s] of the first value over `level` after `from_s`."""
    over = np.flatnonzero((statistic > level) & (time_s >= from_s))
    return float(time_s[over[0]]) if over.size else None
