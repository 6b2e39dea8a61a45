"""One record of each kind that sinks deliver, and helpers to run a sink in a thread."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmChange,
    AlarmState,
    Estimate,
    Evidence,
    Forecast,
    Health,
    Quantiles,
    Reading,
    Record,
    RefillReady,
    RefillSeen,
    Stamp,
    Standing,
    Verdict,
)

START_S = 1_772_350_200.0  # 2026-03-01T07:30:00Z
SPREAD = Quantiles(0.01, 0.12, 0.5)


def now() -> Stamp:
    """The real present."""
    return Stamp(round(time.time(), 3), True, "boot", time.monotonic())


def orp(number: int, value: float | None = None, tank: str = "window") -> Reading:
    """The ORP reading of second `number`."""
    millivolts = 300.0 + number if value is None else value
    return Reading(START_S + number, tank, "orp", millivolts, f"{tank}-orp")


def estimate(time_s: float) -> Estimate:
    """An estimate whose free ammonia and detection floor are unknown."""
    return Estimate(
        time_s, "window", SPREAD, SPREAD, SPREAD, SPREAD, None, 0.03, None, False, "probe in air"
    )


def verdict(time_s: float, *, final: bool = False) -> Verdict:
    """A carry-over."""
    evidence = (Evidence("orp-step", 4.5),)
    return Verdict(time_s, "window", START_S - 60, "carried-over", 0.97, SPREAD, final, evidence)


def alarm(time_s: float, *, active: bool = True) -> AlarmChange:
    """The residual-oxidant alarm comes or goes."""
    state: AlarmState = "unacknowledged" if active else "returned-to-normal-unacknowledged"
    return AlarmChange(time_s, "window", "residual-oxidant", state, "high", active, "0.12 mg/L")


def forecast(time_s: float, *, below_after_s: float | None = 1800.0) -> Forecast:
    """The residual is surely below its limit after so long (None: not within the day)."""
    below_s = None if below_after_s is None else time_s + below_after_s
    return Forecast(time_s, "window", 24.0, time_s, below_s, SPREAD, time_s + 7200.0)


def standing(time_s: float) -> Standing:
    """Blind since a minute."""
    return Standing(time_s, "window", "cannot-tell", time_s - 60, "probe in air", False, None)


def one_of_each() -> list[Record]:
    """One record of each kind that a sink may deliver."""
    return [
        orp(0),
        Reading(START_S, "window", "ph", None, "window-ph", "no-answer", "3f"),
        estimate(START_S + 1),
        forecast(START_S + 1),
        RefillSeen(START_S + 2, "window", "announced", Quantiles(0.2, 0.25, 0.3)),
        verdict(START_S + 3),
        alarm(START_S + 4),
        standing(START_S + 4),
        RefillReady(START_S + 4, "window", False, ("probe in air",)),
        Health(START_S + 5, "window", "probe window-orp", True, 0.5, 3, ""),
    ]


def store(journal: Journal, *records: Record) -> int:
    """Append and commit; returns the last number."""
    seq = 0
    for record in records:
        seq = journal.append(record, Stamp(record.time_s, True, "boot", record.time_s - START_S))
    journal.commit()
    return seq


class Runnable(Protocol):
    """A sink, as a thread sees it."""

    def run(self, stop: threading.Event) -> None: ...


@contextmanager
def running(sink: Runnable) -> Iterator[None]:
    """Run `sink` in a thread; what it raises fails the test at the end."""
    stop, failures = threading.Event(), []

    def body() -> None:
        try:
            sink.run(stop)
        except Exception as error:  # noqa: BLE001 - handed on below
            failures.append(error)

    thread = threading.Thread(target=body)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(20)
        assert not thread.is_alive(), "the sink did not stop"
        assert failures == []
