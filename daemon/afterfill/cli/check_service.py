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


def delivery_findings(config: Config) -> Iterator[Finding]:
    """Broker, database and ways to reach a person, as far as configured."""
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
    for way in config.notify:
        yield _tried("notify", _unreadable(way), f"{way.url_file} can be read (nothing was sent)")


def _tried(subject: str, trouble: str | None, good: str) -> Finding:
    return Finding(subject, "ok" if trouble is None else "fault", trouble or good)


def _unreadable(way: Notify) -> str | None:
    try:
        empty = not way.url_file.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        return f"{way.url_file} cannot be read ({error}); correct [[notify]] url_file"
    return f"{way.url_file} is empty; write the address into it" if empty else None


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
