"""Checks of what the service delivers to, and of the service itself."""

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.cli.latest import allowed_age_s
from afterfill.cli.standing import stands
from afterfill.cli.times import age, ahead_words
from afterfill.config import Config, Notify
from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.service.clock import SystemClock
from afterfill.service.liveness import liveness

_TEST_SUBJECT = "afterfill: this is a test"
_TEST_TEXT = (
    "`afterfill check --send-test` was run on {}. Alarms will come this way; nothing is the "
    "matter now as far as this message is concerned.\n"
)


def delivery_findings(config: Config, *, send_test: bool) -> Iterator[Finding]:
    """Broker, database and ways to reach a person, as far as configured; with `send_test` a
    message goes out by each of the last."""
    if config.mqtt is not None:  # the sinks' libraries take long to load: only what is asked for
        from afterfill.sinks.mqtt.trial import broker_trouble

        where = f"{config.mqtt.host}:{config.mqtt.port}"
        yield _tried("broker", broker_trouble(config.mqtt), f"{where} accepts us")
    if config.influxdb is not None:
        from afterfill.sinks.influx.trial import database_trouble

        stamp = SystemClock(threading.Event()).stamp()
        trouble = database_trouble(config.influxdb, stamp, socket.gethostname())
        yield _tried("database", trouble, f"{config.influxdb.url} stored a point")
    if send_test and not config.notify:
        no_one = "nothing was sent: the file names no one to reach; add a [[notify]] table"
        yield Finding("notify", "fault", no_one)
    for number, table in enumerate(config.notify, 1):
        yield from _notify_findings(number, table, send_test=send_test)


def _notify_findings(number: int, table: Notify, *, send_test: bool) -> Iterator[Finding]:
    from afterfill.sinks.notify.message import Message
    from afterfill.sinks.notify.trial import channel_troubles

    message = Message(_TEST_SUBJECT, _TEST_TEXT.format(socket.gethostname())) if send_test else None
    good = "accepted a test message" if send_test else "can be used (nothing was sent)"
    for name, trouble in channel_troubles(table, message=message):
        yield _tried(f"notify {number}", trouble, f"{name} {good}")


def _tried(subject: str, trouble: str | None, good: str) -> Finding:
    return Finding(subject, "ok" if trouble is None else "fault", trouble or good)


def service_findings(config: Config, journal_path: Path) -> Iterator[Finding]:
    """Whether the service runs and reads, and whether its journal is dated ahead of the clock."""
    if not journal_path.exists():
        yield Finding("service", "unknown", f"it has not run yet: there is no {journal_path}")
        return
    live = liveness(journal_path)
    try:
        with Journal.open(journal_path, read_only=True) as journal:
            found = [stands(journal, config, tank, live) for tank in config.tank]
    except JournalError as error:
        yield Finding("service", "fault", str(error))
        return
    ages_s = [it.age_s for it in found if it.age_s is not None]
    yield _reading_finding(live.runs, min(ages_s, default=None), allowed_age_s(config))
    ahead_s = max((it.ahead_s for it in found), default=0.0)
    if ahead_s:
        yield Finding("journal's clock", "unknown", ahead_words(ahead_s))


def _reading_finding(runs: bool | None, age_s: float | None, allowed_s: float) -> Finding:
    read = "nothing usable read yet" if age_s is None else f"newest reading {age(age_s)} ago"
    if runs is False:
        return Finding("service", "unknown", f"not running; {read}")
    if age_s is None or age_s > allowed_s:
        return Finding("service", "unknown", f"not reading; {read}")
    if runs is None:
        return Finding("service", "ok", f"reading (this user may not ask whether it runs); {read}")
    return Finding("service", "ok", f"running; {read}")
