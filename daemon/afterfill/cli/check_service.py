"""Checks of what the service delivers to, and of the service itself."""

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

from afterfill.cli.finding import Finding
from afterfill.cli.latest import allowed_age_s, newest_reading
from afterfill.cli.times import age, present_s
from afterfill.config import Config, Notify
from afterfill.errors import JournalError
from afterfill.journal.store import Journal

_TEST_SUBJECT = "afterfill: this is a test"
_TEST_TEXT = (
    "Somebody ran `afterfill check --send-test` on {}. Alarms will come this way; nothing is the "
    "matter now as far as this message is concerned.\n"
)


def delivery_findings(config: Config, *, send_test: bool) -> Iterator[Finding]:
    """Broker, database and ways to reach a person, as far as configured; with `send_test` a
    message goes out by each of the last."""
    if config.mqtt is not None:
        from afterfill.sinks.trial import broker_trouble

        where = f"{config.mqtt.host}:{config.mqtt.port}"
        yield _tried("broker", broker_trouble(config.mqtt), f"{where} accepts us")
    if config.influxdb is not None:
        from afterfill.service.clock import SystemClock
        from afterfill.sinks.trial import database_trouble

        stamp = SystemClock(threading.Event()).stamp()
        trouble = database_trouble(config.influxdb, stamp, socket.gethostname())
        yield _tried("database", trouble, f"{config.influxdb.url} stored a point")
    if send_test and not config.notify:
        nobody = "nothing was sent: the file names nobody to reach; add a [[notify]] table"
        yield Finding("notify", "fault", nobody)
    for number, table in enumerate(config.notify, 1):
        yield from _notify_findings(number, table, send_test=send_test)


def _notify_findings(number: int, table: Notify, *, send_test: bool) -> Iterator[Finding]:
    from afterfill.sinks.notify_letter import Letter
    from afterfill.sinks.notify_trial import ways_troubles

    letter = Letter(_TEST_SUBJECT, _TEST_TEXT.format(socket.gethostname())) if send_test else None
    good = "accepted a test message" if send_test else "can be used (nothing was sent)"
    for name, trouble in ways_troubles(table, letter=letter):
        yield _tried(f"notify {number}", trouble, f"{name} {good}")


def _tried(subject: str, trouble: str | None, good: str) -> Finding:
    return Finding(subject, "ok" if trouble is None else "fault", trouble or good)


def service_finding(config: Config, journal_path: Path) -> Finding:
    """Whether the service reads, by the newest reading in its journal."""
    if not journal_path.exists():
        return Finding("service", "unknown", f"it has not run yet: there is no {journal_path}")
    try:
        with Journal.open(journal_path, read_only=True) as journal:
            newest = [newest_reading(journal, tank) for tank in config.tank]
    except JournalError as error:
        return Finding("service", "fault", str(error))
    times = [reading.time_s for reading in newest if reading is not None]
    if not times:
        return Finding("service", "unknown", "its journal holds no reading yet")
    old_s = max(0.0, present_s() - max(times))
    if old_s > allowed_age_s(config):
        return Finding("service", "unknown", f"not running or not reading for {age(old_s)}")
    return Finding("service", "ok", f"running; newest reading {age(old_s)} ago")
