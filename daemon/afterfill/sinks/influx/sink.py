"""The sink to a time-series database: every record of interest, in order, from its own cursor.

The journal is the queue: while the database is away nothing is lost that the journal still
holds. After a long outage the newest batch goes first, and from then on every turn delivers what
is new before one batch of the backlog, oldest first: the present never waits behind the past. A
point that the database refuses is set aside with its reason, and the others go on.
"""

import logging
import math
import re
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from afterfill.back_off import BackOff
from afterfill.config import Influxdb
from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Entry, Journal
from afterfill.records import Estimate, Stamp
from afterfill.sinks.health import SinkHealth, SinkStatus
from afterfill.sinks.influx.database import Database, PointsRefused
from afterfill.sinks.influx.delivered import SAVE_CURSOR_S, Delivered
from afterfill.sinks.influx.outbox import outbox_warning
from afterfill.sinks.influx.points import KINDS, journal_line, limit_lines, line_of
from afterfill.sinks.influx.quarantine import Quarantine
from afterfill.sinks.influx.standings import Standings

CURSOR = "influxdb"
_MAX_PAUSE_S = 60.0
_SUSPICIOUS = 2  # so many points, all refused, mean the address or the bucket, not the points
_LONG_BACKLOG = 5  # batches; a longer one is filled in beside the present
_DAY_S = 86400.0
_BACKLOG_EVERY_S = 300.0
_WARN_EVERY_S = 300.0
_AHEAD = "influxdb-ahead"
_ABOUT_POINTS = ("partial write", "retention", "type conflict", "unable to parse")
_log = logging.getLogger(__name__)


class InfluxSink:
    """Run `run` in a thread of its own; `health` may be asked by any thread."""

    def __init__(
        self,
        journal_path: Path,
        settings: Influxdb,
        now: Callable[[], Stamp],
        host: str,
        *,
        save_cursor_s: float = SAVE_CURSOR_S,
        limits: Mapping[str, Mapping[str, float]] | None = None,
        max_mb: float = math.inf,
    ) -> None:
        """`now` stamps the present; `host` is the tag that tells machines apart; `limits` are
        {tank: {quantity_unit: limit}}; `max_mb` bounds the journal, for a warning in time."""
        self._path = journal_path
        self._settings = settings
        self._now = now
        self._host = host
        self._save_cursor_s = save_cursor_s
        self._limits = limits or {}
        self._max_mb = max_mb
        self._saved_s = self._limits_s = self._warned_s = self._present_s = -math.inf
        self._backlog_s = now().monotonic_s
        self._pauses = BackOff(1.0, _MAX_PAUSE_S)
        self._health = SinkStatus(max_age_s=5 * settings.every_s + 2 * _MAX_PAUSE_S)

    def health(self) -> SinkHealth:
        """How delivery is doing now."""
        return self._health.health(self._now().monotonic_s)

    def run(self, stop: threading.Event) -> None:
        """Deliver until `stop` is set. Raises JournalError when the journal fails."""
        database = Database(self._settings)
        try:
            with Journal.open(self._path) as journal:
                journal.move_cursor(CURSOR, 0)  # from now on the journal keeps what we lack
                self._done = Delivered.read(journal.cursor(CURSOR), journal.meta(_AHEAD))
                self._quarantine = Quarantine(journal)
                self._health.remark(self._quarantine.sentence(), 0)
                while not stop.is_set():
                    pause_s = self._turn(journal, database)
                    self._save_cursor(journal, self._save_cursor_s)
                    stop.wait(pause_s)
                self._save_cursor(journal, 0.0)
        finally:
            database.close()

    def _turn(self, journal: Journal, database: Database) -> float:
        """Deliver one batch; returns how long to wait [s] before the next."""
        try:
            more = self._deliver(journal, database)
        except SinkUnavailable as error:
            if self._health.failed(str(error)):
                _log.warning("%s", error)
            self._warn(journal)
            return self._pauses.failed()
        self._pauses.worked()
        return 0.0 if more else self._settings.every_s

    def _deliver(self, journal: Journal, database: Database) -> bool:
        """The present when it is due, then one batch of the backlog; whether more waits."""
        self._tell_limits(database)
        last = journal.last_seq()
        self._tell_backlog(journal, last, database)
        self._look_ahead(journal, last)
        if self._done.ahead and self._monotonic_s() - self._present_s >= self._settings.every_s:
            while True:
                until, full = self._batch(journal, database, self._done.newest(), last)
                self._done.advanced(until)
                if not full:
                    break
            self._present_s = self._monotonic_s()
        after, until = self._done.gap(last)
        done, full = self._batch(journal, database, after, until)
        self._done.filled(done)
        return full or bool(self._done.ahead)

    def _look_ahead(self, journal: Journal, last: int) -> None:
        """Begin with the newest batch when the present would wait long behind the backlog."""
        batch = self._settings.batch
        if last - self._done.newest() > _LONG_BACKLOG * batch:
            self._done.begin_ahead(last - batch)
            self._save_cursor(journal, 0.0)
            self._present_s = -math.inf

    def _batch(
        self, journal: Journal, database: Database, after: int, until: int
    ) -> tuple[int, bool]:
        """Deliver one batch of what lies in (after, until]; how far that is, and whether full."""
        size = self._settings.batch
        batch = journal.entries(after, until=until, kinds=KINDS, limit=size)
        self._write(batch, database, Standings(journal))
        full = len(batch) == size
        return (batch[-1].seq if full else max(until, after)), full

    def _tell_limits(self, database: Database) -> None:
        now_s = self._monotonic_s()
        lines = limit_lines(self._limits, self._host, self._now().time_s)
        if lines and now_s - self._limits_s >= _DAY_S:
            self._tell("limit", lines, database)
            self._limits_s = now_s

    def _tell_backlog(self, journal: Journal, last: int, database: Database) -> None:
        stamp = self._now()
        if stamp.monotonic_s - self._backlog_s < _BACKLOG_EVERY_S:
            return
        waiting = self._done.waiting(last)
        told = journal_line(waiting, journal.size_bytes(), self._host, stamp.time_s)
        self._tell("journal", [told] if told else [], database)
        self._backlog_s = stamp.monotonic_s

    def _tell(self, measurement: str, lines: list[str], database: Database) -> None:
        """Write points of our own, which no cursor counts."""
        try:
            database.write(lines)
        except PointsRefused as error:
            _log.warning("the database refuses the measurement '%s' (%s)", measurement, error)

    def _warn(self, journal: Journal) -> None:
        """While it is away: say when the journal will be full of what it lacks."""
        if self._monotonic_s() - self._warned_s >= _WARN_EVERY_S:
            self._warned_s = self._monotonic_s()
            sentence = outbox_warning(journal, CURSOR, self._max_mb, self._now().time_s)
            if sentence:
                self._health.remark(sentence, 0)
                _log.warning("%s", sentence)

    def _monotonic_s(self) -> float:
        return self._now().monotonic_s

    def _save_cursor(self, journal: Journal, every_s: float) -> None:
        now_s = self._monotonic_s()
        if now_s - self._saved_s < every_s:
            return
        self._saved_s = now_s
        if (journal.meta(_AHEAD) or "[]") != self._done.text():
            journal.set_meta(_AHEAD, self._done.text())
        if self._done.position > journal.cursor(CURSOR):
            journal.move_cursor(CURSOR, self._done.position)

    def _write(self, batch: list[Entry], database: Database, stood: Standings) -> None:
        lines = {line: e.seq for e in batch if (line := self._line(e, stood)) is not None}
        if not lines:
            return
        refused = self._written(list(lines), database)
        if len(refused) == len(lines) >= _SUSPICIOUS and not _about_points(refused):
            raise SinkUnavailable(
                f"the database at {self._settings.url} refuses everything "
                f"({next(iter(refused.values()))}); check [influxdb] url, org and bucket"
            )
        if refused:
            self._set_aside({lines[line]: (line, reason) for line, reason in refused.items()})
        self._health.confirmed(self._monotonic_s())
        if self._warned_s > -math.inf:  # what was feared did not come
            self._warned_s = -math.inf
            self._health.remark(self._quarantine.sentence(), 0)

    def _line(self, entry: Entry, stood: Standings) -> str | None:
        record = entry.record
        standing = stood.at(record.tank, entry.seq) if isinstance(record, Estimate) else None
        return line_of(entry, self._host, standing)

    def _written(self, lines: list[str], database: Database) -> dict[str, str]:
        """Write `lines`, halving what is refused until the bad ones are found: {line: reason}."""
        try:
            database.write(lines)
        except PointsRefused as error:
            reason = str(error)
            if len(lines) == 1 or _dropped(reason) == len(lines):
                return dict.fromkeys(lines, reason)
            middle = len(lines) // 2
            return {
                **self._written(lines[:middle], database),
                **self._written(lines[middle:], database),
            }
        return {}

    def _set_aside(self, refused: dict[int, tuple[str, str]]) -> None:
        new = self._quarantine.add(refused)
        sentence = self._quarantine.sentence()
        self._health.remark(sentence, new)
        _log.warning("%s", sentence)


def _dropped(reason: str) -> int:
    """How many points a 'partial write' dropped; 0 when it does not say."""
    found = re.search(r"dropped=(\d+)", reason)
    return int(found[1]) if found else 0


def _about_points(refused: dict[str, str]) -> bool:
    return any(word in reason for reason in refused.values() for word in _ABOUT_POINTS)
