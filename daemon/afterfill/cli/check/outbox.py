"""Checks of what waits in the journal for the database, and of what the database refused."""

from collections.abc import Iterator
from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.cli.times import present_s
from afterfill.config import Config
from afterfill.errors import JournalError
from afterfill.journal.store import Journal


def outbox_findings(config: Config, journal_path: Path) -> Iterator[Finding]:
    """Nothing to say where no database is configured or no journal is there yet."""
    if config.influxdb is None or not journal_path.exists():
        return
    from afterfill.sinks.influx.outbox import outbox_warning
    from afterfill.sinks.influx.quarantine import Quarantine
    from afterfill.sinks.influx.sink import CURSOR

    try:
        with Journal.open(journal_path, read_only=True) as journal:
            waiting = journal.last_seq() - journal.cursor(CURSOR)
            warning = outbox_warning(journal, CURSOR, config.journal.max_mb, present_s())
            refused = Quarantine(journal).sentence()
    except JournalError as error:
        yield Finding("outbox", "fault", str(error))
        return
    said = f"{waiting} records wait for the database"
    yield Finding(
        "outbox", "unknown" if warning else "ok", f"{said}; {warning}" if warning else said
    )
    if refused:
        yield Finding("refused points", "unknown", refused)
