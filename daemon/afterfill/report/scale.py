"""Axes: where a value stands in per cent of a drawing, and which round values are written on it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

_MINUTE, _HOUR, _DAY = 60, 3600, 86400
_STEPS_S = (
    5 * _MINUTE, 10 * _MINUTE, 15 * _MINUTE, 30 * _MINUTE, _HOUR, 2 * _HOUR, 3 * _HOUR, 6 * _HOUR,
    12 * _HOUR, _DAY, 2 * _DAY, 7 * _DAY, 14 * _DAY, 30 * _DAY, 90 * _DAY,
)  # fmt: skip
_MOST_TIMES, _MOST_VALUES = 6, 5  # as many as have room on a phone


@dataclass(frozen=True, slots=True)
class Scale:
    """Values from `low` to `high` (above `low`), which for `logarithmic` must be above 0."""

    low: float
    high: float
    logarithmic: bool = False

    def percent(self, value: float) -> float:
        """Where `value` stands, 0 at `low` and 100 at `high`; what lies outside is at the edge."""
        value = min(max(value, self.low), self.high)
        if self.logarithmic:
            return 100.0 * math.log(value / self.low) / math.log(self.high / self.low)
        return 100.0 * (value - self.low) / (self.high - self.low)

    def ticks(self) -> list[float]:
        """Round values within the scale, a handful."""
        if self.logarithmic:
            first, last = math.ceil(math.log10(self.low) - 1e-9), math.log10(self.high)
            return [float(10.0**power) for power in range(first, math.floor(last + 1e-9) + 1)]
        step = _round_step((self.high - self.low) / _MOST_VALUES)
        first = math.ceil(self.low / step - 1e-9)
        return [n * step for n in range(first, math.floor(self.high / step + 1e-9) + 1)]


def _round_step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return float(next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= least * (1 - 1e-9)))


def scale_around(values: Sequence[float], least_span: float) -> Scale:
    """A straight scale with room around the values, at least `least_span` high."""
    low, high = (min(values), max(values)) if values else (0.0, least_span)
    span, middle = max(high - low, least_span) * 1.1, (low + high) / 2.0
    return Scale(middle - span / 2.0, middle + span / 2.0)


def time_ticks(from_s: float, to_s: float, zone: tzinfo | None) -> list[tuple[float, str]]:
    """Round times of the keeper's own clock [Unix s] with what to write there."""
    step_s = next((s for s in _STEPS_S if (to_s - from_s) / s <= _MOST_TIMES), _STEPS_S[-1])
    start = datetime.fromtimestamp(from_s, zone)
    naive = start.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    found: list[tuple[float, str]] = []
    while True:
        moment = naive.replace(tzinfo=start.tzinfo)
        time_s = moment.timestamp() if zone is not None else naive.timestamp()
        if time_s >= to_s:
            return found
        if time_s >= from_s:
            found.append((time_s, _written(naive, step_s)))
        naive += timedelta(seconds=step_s)


def _written(moment: datetime, step_s: float) -> str:
    midnight = moment.hour == 0 and moment.minute == 0
    if step_s >= _DAY or (midnight and step_s >= _HOUR):
        return f"{moment.day} {moment:%b}"
    return f"{moment:%H:%M}"
