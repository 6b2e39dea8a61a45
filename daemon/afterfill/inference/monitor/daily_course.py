"""The tank's own day: what its pH usually is at each hour (plants, lamp, carbon dioxide)."""

import math

import numpy as np

from afterfill.inference.filter.streams import Array

HOURS = 24
EVERY_S = 600.0  # a pH moves over hours
_DAY_S, _HOUR_S = 86_400.0, 3600.0
_FOLLOWS_S = 7200.0  # of readings at one hour: two days make the most of it; our judgement


def unknown() -> Array:
    """Before any day was seen: NaN at each of the 24 hours of UTC, shape (24,)."""
    return np.full(HOURS, np.nan)


def followed(course: Array, ph: float, time_s: float, step_s: float) -> Array:
    """The course after the tank had this pH for `step_s` [s] before `time_s` [Unix s]."""
    place, after = _hour(time_s), course.copy()
    usual = course[place]
    share = 1.0 - math.exp(-min(step_s, _HOUR_S) / _FOLLOWS_S)
    after[place] = ph if math.isnan(usual) else usual + share * (ph - usual)
    return after


def usual_at(course: Array, times_s: Array) -> Array | None:
    """The usual pH at these times of day [Unix s]; None unless the whole day is known."""
    if np.isnan(course).any():
        return None
    hours = (times_s % _DAY_S) / _HOUR_S - 0.5  # an hour's mean stands at its middle
    before = np.floor(hours)
    place, share = before.astype(int), hours - before
    first, then = course[place % HOURS], course[(place + 1) % HOURS]
    return np.asarray(first + share * (then - first))


def _hour(time_s: float) -> int:
    return int(time_s % _DAY_S // _HOUR_S)
