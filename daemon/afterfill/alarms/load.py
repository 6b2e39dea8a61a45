"""How much the alarms ask of a person: figures over the transitions of some days, pure.

The figures are those that ISA-18.2 and EEMUA 191 ask for: a day, the peak of ten minutes,
standing, chattering, stale, share by priority (their names: secondary, from articles about them;
their bounds, such as three in a minute for chatter and a day for stale: from memory).
"""

from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from afterfill.records import AlarmChange, AlarmLoad, Priority

PEAK_S, CHATTER_S, CHATTERS = 600.0, 60.0, 3
STALE_S = 86400.0
_DAY_S = 86400.0
_Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Load:
    """`days` looked at; `raised` in all and `per_day`; the most in any ten minutes; the names of
    alarms that hold at the end, that chattered (raised three times within a minute), and that
    have held for more than a day; how often each priority and each alarm was raised."""

    days: float
    raised: int
    per_day: float
    peak_ten_minutes: int
    standing: tuple[str, ...]
    chattering: tuple[str, ...]
    stale: tuple[str, ...]
    by_priority: dict[Priority, int]
    by_alarm: dict[str, int]


def record_of(load: Load, tank: str, time_s: float) -> AlarmLoad:
    """The figures as a record, for the journal and what is drawn from it."""
    return AlarmLoad(
        time_s,
        tank,
        days=load.days,
        raised=load.raised,
        high=load.by_priority["high"],
        medium=load.by_priority["medium"],
        low=load.by_priority["low"],
        peak_ten_minutes=load.peak_ten_minutes,
        standing=len(load.standing),
        chattering=len(load.chattering),
        stale=len(load.stale),
    )


@dataclass
class _Tally:
    peak: int = 0
    recent: deque[float] = field(default_factory=deque)
    holding_since_s: dict[_Key, float] = field(default_factory=dict)
    raised_s: dict[_Key, deque[float]] = field(default_factory=lambda: defaultdict(deque))
    chattering: set[str] = field(default_factory=set)
    by_priority: dict[Priority, int] = field(
        default_factory=lambda: {"high": 0, "medium": 0, "low": 0}
    )
    by_alarm: dict[str, int] = field(default_factory=lambda: defaultdict(int))


def load_of(changes: Iterable[AlarmChange], from_s: float, to_s: float) -> Load:
    """The load between two times [Unix s], from transitions in order of time. Those before
    `from_s` only tell what already held then; hidden alarms ask for nothing."""
    tally = _Tally()
    for change in changes:
        if change.time_s < to_s:
            _count(tally, change, counts=change.time_s >= from_s)
    days = max((to_s - from_s) / _DAY_S, 1e-9)
    raised = sum(tally.by_alarm.values())
    since_s = tally.holding_since_s
    return Load(
        days=days,
        raised=raised,
        per_day=raised / days,
        peak_ten_minutes=tally.peak,
        standing=_names(since_s),
        chattering=tuple(sorted(tally.chattering)),
        stale=_names(key for key, begun_s in since_s.items() if to_s - begun_s > STALE_S),
        by_priority=tally.by_priority,
        by_alarm=dict(sorted(tally.by_alarm.items())),
    )


def _names(keys: Iterable[_Key]) -> tuple[str, ...]:
    return tuple(sorted({alarm for _, alarm in keys}))


def _count(tally: _Tally, change: AlarmChange, *, counts: bool) -> None:
    key = (change.tank, change.alarm)
    asks = change.state in ("unacknowledged", "acknowledged")
    if not asks:
        tally.holding_since_s.pop(key, None)
    elif key not in tally.holding_since_s:
        tally.holding_since_s[key] = change.time_s
        if change.state == "unacknowledged" and counts:
            _raised(tally, key, change)


def _raised(tally: _Tally, key: _Key, change: AlarmChange) -> None:
    tally.by_priority[change.priority] += 1
    tally.by_alarm[change.alarm] += 1
    tally.peak = max(tally.peak, _within(tally.recent, change.time_s, PEAK_S))
    if _within(tally.raised_s[key], change.time_s, CHATTER_S) >= CHATTERS:
        tally.chattering.add(change.alarm)


def _within(times_s: deque[float], time_s: float, span_s: float) -> int:
    """How many of `times_s` lie within `span_s` before `time_s`, itself counted."""
    times_s.append(time_s)
    while times_s[0] <= time_s - span_s:
        times_s.popleft()
    return len(times_s)
