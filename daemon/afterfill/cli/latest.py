"""The newest things that a journal knows of a tank, with when they were written."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Generic, TypeVar, cast

from afterfill.config import Config
from afterfill.journal.store import Entry, Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import (
    AlarmChange,
    Estimate,
    Health,
    Reading,
    Record,
    Stamp,
    Standing,
    Verdict,
)

STALE_S = 300.0  # minutes matter: older news say nothing about now (our judgement)
_MOST_ENTRIES = 100_000
_R = TypeVar("_R", bound=Record)


@dataclass(frozen=True, slots=True)
class Newest(Generic[_R]):
    """A record and when it was accepted."""

    record: _R
    stamp: Stamp


def allowed_age_s(config: Config) -> float:
    """How old [s] the newest reading may be while the service runs: it commits in batches."""
    slowest_s = max((probe.every_s for probe in config.probe), default=0.0)
    return max(STALE_S, config.journal.commit_every_s + 2.0 * slowest_s)


def newest_reading(journal: Journal, tank: str) -> Newest[Reading] | None:
    """The newest reading, usable or not."""
    return _newest(journal, Reading, tank)


def newest_estimate(journal: Journal, tank: str) -> Newest[Estimate] | None:
    """The newest estimate."""
    return _newest(journal, Estimate, tank)


def newest_standing(journal: Journal, tank: str) -> Newest[Standing] | None:
    """How the tank stood when that was last told."""
    return _newest(journal, Standing, tank)


def newest_verdict(journal: Journal, tank: str) -> Verdict | None:
    """The newest verdict."""
    found = _newest(journal, Verdict, tank)
    return None if found is None else found.record


def alarms(journal: Journal, tank: str, names: Collection[str]) -> dict[str, AlarmChange]:
    """The last transition of each alarm that ever had one."""
    found = _newest_by(journal, AlarmChange, tank, lambda change: change.alarm, names)
    return {name: known.record for name, known in found.items()}


def readings(journal: Journal, tank: str, probes: Collection[str]) -> dict[str, Newest[Reading]]:
    """The newest reading of each probe, by probe name."""
    return _newest_by(journal, Reading, tank, lambda reading: reading.probe, probes)


def usable_readings(
    journal: Journal, tank: str, probes: Collection[str]
) -> dict[str, Newest[Reading]]:
    """The newest reading with a value of each probe, by probe name."""
    return _newest_by(journal, Reading, tank, _usable_probe_name, probes)


def health(journal: Journal, tank: str, components: Collection[str]) -> dict[str, Health]:
    """The newest health of each component, by its name."""
    found = _newest_by(journal, Health, tank, lambda health: health.component, components)
    return {name: known.record for name, known in found.items()}


def _usable_probe_name(reading: Reading) -> str | None:
    return reading.probe if reading.value is not None else None


def _newest(journal: Journal, record_type: type[_R], tank: str) -> Newest[_R] | None:
    for entry in journal.latest(KIND_OF[cast("type[Record]", record_type)], tank):
        if isinstance(entry.record, record_type):
            return Newest(entry.record, entry.stamp)
    return None


def _newest_by(
    journal: Journal,
    record_type: type[_R],
    tank: str,
    key: Callable[[_R], str | None],
    keys: Collection[str],
) -> dict[str, Newest[_R]]:
    """The newest record for each of `keys`, as far as there are any."""
    count = 64
    while True:
        entries = journal.latest(KIND_OF[cast("type[Record]", record_type)], tank, count)
        found = _first_of_each(entries, record_type, key, keys)
        if len(found) == len(keys) or len(entries) < count or count >= _MOST_ENTRIES:
            return found
        count *= 8


def _first_of_each(
    entries: list[Entry],
    record_type: type[_R],
    key: Callable[[_R], str | None],
    keys: Collection[str],
) -> dict[str, Newest[_R]]:
    found: dict[str, Newest[_R]] = {}
    for entry in entries:
        record = entry.record
        if isinstance(record, record_type) and (name := key(record)) in keys and name is not None:
            found.setdefault(name, Newest(record, entry.stamp))
    return found
