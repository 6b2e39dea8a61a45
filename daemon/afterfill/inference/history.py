"""The last two hours of readings, so that a watch can begin before it was asked for."""

import math
from typing import NamedTuple

import numpy as np

from afterfill.inference.filter.streams import Array

KEEP_S = 7200.0  # refills are told of within two hours, or not judged on readings
_LONGEST = 800
_NEWEST = 32  # rows
TIME, ORP, PH, TEMPERATURE = range(4)


Row = tuple[float, float, float, float]


class History(NamedTuple):
    """`older`, shape (n, 4), and the `newest` rows, which are not copied into it one by one.
    Columns: time [s], ORP [mV], pH, temperature [degrees C]; NaN where unknown."""

    older: Array
    newest: tuple[Row, ...] = ()


def empty() -> History:
    """No rows yet."""
    return History(np.empty((0, 4)))


def appended(
    history: History,
    time_s: float,
    orp_mv: float | None,
    ph: float | None,
    temperature_c: float | None,
) -> History:
    """The history with one more row, and now and then without what is too old."""
    row = (time_s, _or_nan(orp_mv), _or_nan(ph), _or_nan(temperature_c))
    newest = (*history.newest, row)
    if len(newest) < _NEWEST:
        return History(history.older, newest)
    rows = table(History(history.older, newest))
    first = int(np.searchsorted(rows[:, TIME], time_s - KEEP_S))
    return History(rows[max(first, rows.shape[0] - _LONGEST) :])


def table(history: History) -> Array:
    """All rows, shape (n, 4)."""
    return np.vstack((history.older, history.newest)) if history.newest else history.older


def last_s(history: History) -> float | None:
    """Time of the row before the newest [s]; None where there is none."""
    older, newest = history
    if len(newest) > 1:
        return newest[-2][TIME]
    place = len(older) + len(newest) - 2
    return float(older[place, TIME]) if place >= 0 else None


def without_orp(history: History, from_s: float) -> History:
    """The history with the ORP from `from_s` [s] on unknown."""
    masked = table(history).copy()
    masked[np.searchsorted(masked[:, TIME], from_s) :, ORP] = np.nan
    return History(masked)


def span(history: History, from_s: float, to_s: float) -> Array:
    """The rows with ``from_s <= time < to_s``."""
    rows = table(history)
    first, last = np.searchsorted(rows[:, TIME], (from_s, to_s))
    return rows[first:last]


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def middle(column: Array) -> float | None:
    """The median of what is known in a column; None when nothing is."""
    known = np.sort(column)  # NaN comes last
    n = known.size - int(np.isnan(known).sum())
    return float(0.5 * (known[(n - 1) // 2] + known[n // 2])) if n else None


def known(value: float) -> float | None:
    """None for NaN."""
    return None if np.isnan(value) else float(value)
