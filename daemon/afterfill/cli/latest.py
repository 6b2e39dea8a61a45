"""The newest of several things that a journal knows of a tank, and how old they may be."""

from collections.abc import Collection

from afterfill.config import Config
from afterfill.journal.newest import Newest, newest_by
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, Health, Reading

STALE_S = 300.0  # minutes matter: older news say nothing about now (our judgement)


def allowed_age_s(config: Config) -> float:
    """How old [s] the newest reading may be while the service runs: it commits in batches."""
    slowest_s = max((probe.every_s for probe in config.probe), default=0.0)
    return max(STALE_S, config.journal.commit_every_s + 2.0 * slowest_s)


def alarms(journal: Journal, tank: str, names: Collection[str]) -> dict[str, AlarmChange]:
    """The last transition of each alarm that ever had one."""
    found = newest_by(journal, AlarmChange, tank, lambda change: change.alarm, names)
    return {name: known.record for name, known in found.items()}


def readings(journal: Journal, tank: str, probes: Collection[str]) -> dict[str, Newest[Reading]]:
    """The newest reading of each probe, by probe name."""
    return newest_by(journal, Reading, tank, lambda reading: reading.probe, probes)


def usable_readings(
    journal: Journal, tank: str, probes: Collection[str]
) -> dict[str, Newest[Reading]]:
    """The newest reading with a value of each probe, by probe name."""
    return newest_by(journal, Reading, tank, _usable_probe_name, probes)


def health(journal: Journal, tank: str, components: Collection[str]) -> dict[str, Health]:
    """The newest health of each component, by its name."""
    found = newest_by(journal, Health, tank, lambda health: health.component, components)
    return {name: known.record for name, known in found.items()}


def _usable_probe_name(reading: Reading) -> str | None:
    return reading.probe if reading.value is not None else None
