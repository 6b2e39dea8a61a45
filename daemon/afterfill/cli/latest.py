"""The newest things that a journal knows of a tank."""

from collections.abc import Callable, Collection

from afterfill.config import Config
from afterfill.journal.store import Entry, Journal
from afterfill.records import AlarmChange, Estimate, Health, Reading, Verdict

STALE_S = 300.0  # minutes matter: older news say nothing about now (our judgement)
_MOST_ENTRIES = 100_000


def allowed_age_s(config: Config) -> float:
    """How old [s] the newest reading may be while the service runs: it commits in batches."""
    slowest_s = max((probe.every_s for probe in config.probe), default=0.0)
    return max(STALE_S, config.journal.commit_every_s + 2.0 * slowest_s)


def newest_by(
    journal: Journal,
    kind: str,
    tank: str,
    key: Callable[[Entry], str | None],
    keys: Collection[str],
) -> dict[str, Entry]:
    """The newest entry of `kind` for each of `keys`, as far as there are any."""
    count = 64
    while True:
        entries = journal.latest(kind, tank, count)
        found: dict[str, Entry] = {}
        for entry in entries:
            name = key(entry)
            if name is not None and name in keys:
                found.setdefault(name, entry)
        if len(found) == len(keys) or len(entries) < count or count >= _MOST_ENTRIES:
            return found
        count *= 8


def newest_reading(journal: Journal, tank: str) -> Reading | None:
    """The newest reading, usable or not."""
    for entry in journal.latest("reading", tank):
        if isinstance(entry.record, Reading):
            return entry.record
    return None


def newest_estimate(journal: Journal, tank: str) -> Estimate | None:
    """The newest estimate."""
    for entry in journal.latest("estimate", tank):
        if isinstance(entry.record, Estimate):
            return entry.record
    return None


def newest_verdict(journal: Journal, tank: str) -> Verdict | None:
    """The newest verdict."""
    for entry in journal.latest("verdict", tank):
        if isinstance(entry.record, Verdict):
            return entry.record
    return None


def alarms(journal: Journal, tank: str, names: Collection[str]) -> dict[str, AlarmChange]:
    """The last transition of each alarm that ever had one."""
    found = newest_by(journal, "alarm", tank, _alarm_name, names)
    return {n: e.record for n, e in found.items() if isinstance(e.record, AlarmChange)}


def readings(journal: Journal, tank: str, probes: Collection[str]) -> dict[str, Reading]:
    """The newest reading of each probe, by probe name."""
    found = newest_by(journal, "reading", tank, _probe_name, probes)
    return {n: e.record for n, e in found.items() if isinstance(e.record, Reading)}


def usable_readings(journal: Journal, tank: str, probes: Collection[str]) -> dict[str, Reading]:
    """The newest reading with a value of each probe, by probe name."""
    found = newest_by(journal, "reading", tank, _usable_probe_name, probes)
    return {n: e.record for n, e in found.items() if isinstance(e.record, Reading)}


def health(journal: Journal, tank: str, components: Collection[str]) -> dict[str, Health]:
    """The newest health of each component, by its name."""
    found = newest_by(journal, "health", tank, _component, components)
    return {n: e.record for n, e in found.items() if isinstance(e.record, Health)}


def _alarm_name(entry: Entry) -> str | None:
    return entry.record.alarm if isinstance(entry.record, AlarmChange) else None


def _probe_name(entry: Entry) -> str | None:
    return entry.record.probe if isinstance(entry.record, Reading) else None


def _usable_probe_name(entry: Entry) -> str | None:
    record = entry.record
    return record.probe if isinstance(record, Reading) and record.value is not None else None


def _component(entry: Entry) -> str | None:
    return entry.record.component if isinstance(entry.record, Health) else None
