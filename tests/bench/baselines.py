"""Simple detectors on the ORP alone, for comparison: each is a statistic over time that rings when
it exceeds a level. The levels are chosen on tuning seeds only (see `figures.py`)."""

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]
Detector = Callable[[Series, Series], Series]


def fixed_threshold(time_s: Series, orp_mv: Series) -> Series:
    """The ORP itself: alarm above a level (the same for all tanks, as such devices are set)."""
    return orp_mv


def over_own_level(time_s: Series, orp_mv: Series, hours: float) -> Series:
    """The ORP over its own mean of the last hours: a threshold that knows its tank."""
    span = max(int(hours * 3600 / (time_s[1] - time_s[0])), 1)
    total = np.concatenate(([0.0], np.cumsum(orp_mv)))
    index = np.arange(orp_mv.size)
    first = np.maximum(index - span, 0)
    mean = (total[index] - total[first]) / np.maximum(index - first, 1)
    mean[0] = orp_mv[0]
    return np.asarray(orp_mv - mean)


def rate_of_change(time_s: Series, orp_mv: Series, minutes: float) -> Series:
    """The rise over some minutes [mV]."""
    span = max(int(60 * minutes / (time_s[1] - time_s[0])), 1)
    rise = np.zeros_like(orp_mv)
    rise[span:] = orp_mv[span:] - orp_mv[:-span]
    return rise


def cusum(time_s: Series, orp_mv: Series, allowed_mv: float) -> Series:
    """One-sided cumulative sum of the ORP over its own level of six hours, less an allowance,
    per minute (Page 1954, Biometrika 41:100; from memory)."""
    minutes = (time_s[1] - time_s[0]) / 60.0
    above = (over_own_level(time_s, orp_mv, 6.0) - allowed_mv) * minutes
    summed = np.cumsum(above)
    return np.asarray(summed - np.minimum(np.minimum.accumulate(summed), 0.0))


DETECTORS: dict[str, Detector] = {
    "fixed threshold": fixed_threshold,
    "over own level of 6 h": partial(over_own_level, hours=6.0),
    "over own level of 1 h": partial(over_own_level, hours=1.0),
    "rise in 5 min": partial(rate_of_change, minutes=5.0),
    "rise in 10 min": partial(rate_of_change, minutes=10.0),
    "rise in 20 min": partial(rate_of_change, minutes=20.0),
    "CUSUM over 3 mV": partial(cusum, allowed_mv=3.0),
    "CUSUM over 8 mV": partial(cusum, allowed_mv=8.0),
}


def reached(time_s: Series, orp_mv: Series, from_s: float, to_s: float) -> dict[str, float]:
    """The highest value of each detector's statistic between two times [s]: below such a level it
    rings. Readings that never came count as none."""
    known = np.where(np.isnan(orp_mv), np.nanmedian(orp_mv), orp_mv)
    first, last = np.searchsorted(time_s, (from_s, to_s))
    return {
        name: float(np.max(statistic(time_s, known)[first:last], initial=-np.inf))
        for name, statistic in DETECTORS.items()
    }
