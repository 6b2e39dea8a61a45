"""How the service itself is doing."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Health:
    """How a probe, a sink or the service itself is doing; data, not an alarm."""

    time_s: float
    tank: str
    component: str
    up: bool
    age_s: float | None
    errors: int
    detail: str = ""


@dataclass(frozen=True, slots=True)
class AlarmLoad:
    """What the alarms asked of a person in the `days` before: how many were `raised`, in all and
    by priority, the most in ten minutes; how many hold, chattered, or have held for over a day."""

    time_s: float
    tank: str
    days: float
    raised: int
    high: int
    medium: int
    low: int
    peak_ten_minutes: int
    standing: int
    chattering: int
    stale: int
