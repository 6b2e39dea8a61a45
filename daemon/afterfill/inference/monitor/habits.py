"""Rises of the ORP that come at the same hour of the day: a lamp or ozone by a timer, feeding."""

DAY_S = 86_400.0
_KEPT_S = 14 * DAY_S
_SAME_S = 3600.0  # this near in the hour of the day: timers drift, days differ
_OFTEN = 2  # on so many earlier days: the third time it is a habit; our judgement
_MOST = 64


def appended(risen_s: tuple[float, ...], time_s: float) -> tuple[float, ...]:
    """The rises of the last fortnight [s], with one at `time_s`."""
    kept = [t for t in risen_s if time_s - t < _KEPT_S]
    return (*kept[-_MOST:], time_s)


def is_habit(risen_s: tuple[float, ...], time_s: float) -> bool:
    """Whether the ORP has risen at this hour on some earlier days."""
    days = {
        round((time_s - t) / DAY_S)
        for t in risen_s
        if abs((time_s - t + 0.5 * DAY_S) % DAY_S - 0.5 * DAY_S) <= _SAME_S
    }
    return len(days - {0}) >= _OFTEN


def as_told(time_s: float) -> tuple[float, ...]:
    """Earlier days that stand for a person's word: what was told counts as a habit."""
    return tuple(time_s - DAY_S * days for days in range(_OFTEN, -1, -1))
