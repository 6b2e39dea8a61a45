"""The last two hours of readings, so that a watch can begin before it was asked for."""

import numpy as np

from afterfill.inference.filter.streams import Array

KEEP_S = 7200.0  # refills are told of within two hours, or not judged on readings
_LONGEST = 800
TIME, ORP, PH, TEMPERATURE = range(4)


def empty() -> Array:
    """No rows yet. Columns: time [s], ORP [mV], pH, temperature [degrees C]; NaN where unknown."""
    return np.empty((0, 4))


def appended(
    history: Array,
    time_s: float,
    orp_mv: float | None,
    ph: float | None,
    temperature_c: float | None,
) -> Array:
    """The history with one more row, and without what is too old."""
    known = [np.nan if value is None else value for value in (orp_mv, ph, temperature_c)]
    first = int(np.searchsorted(history[:, TIME], time_s - KEEP_S))
    first = max(first, history.shape[0] + 1 - _LONGEST)
    return np.vstack((history[first:], [[time_s, *known]]))


def without_orp(history: Array, from_s: float) -> Array:
    """The history with the ORP from `from_s` [s] on unknown."""
    first = int(np.searchsorted(history[:, TIME], from_s))
    masked = history.copy()
    masked[first:, ORP] = np.nan
    return masked


def span(history: Array, from_s: float, to_s: float) -> Array:
    """The rows with ``from_s <= time < to_s``."""
    first, last = np.searchsorted(history[:, TIME], (from_s, to_s))
    return history[first:last]


def middle(column: Array) -> float | None:
    """The median of what is known in a column; None when nothing is."""
    known = np.sort(column)  # NaN comes last
    n = known.size - int(np.isnan(known).sum())
    return float(0.5 * (known[(n - 1) // 2] + known[n // 2])) if n else None


def known(value: float) -> float | None:
    """None for NaN."""
    return None if np.isnan(value) else float(value)
