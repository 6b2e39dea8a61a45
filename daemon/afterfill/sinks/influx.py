"""The sink to a time-series database: every record of interest, in order, from its own cursor.

The journal is the queue: while the database is away nothing is lost that the journal still
holds, and afterwards it is back-filled in order. A point that the database refuses is set aside,
counted and said, and the others go on.
"""

import logging
import math
import threading
from collections.abc import Callable
from pathlib import Path

from afterfill.config import Influxdb
from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Entry, Journal
from afterfill.records import Stamp
from afterfill.sinks.database import Database, PointsRefused
from afterfill.sinks.health import HealthBoard, SinkHealth
from afterfill.sinks.points import KINDS, line_of

CURSOR = "influxdb"
_MAX_PAUSE_S = 60.0
_SAVE_CURSOR_S = 60.0  # spares the card; after a power cut some points are sent again, harmlessly
_SUSPICIOUS = 2  # so many points, all refused, mean the address or the bucket, not the points
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
        save_cursor_s: float = _SAVE_CURSOR_S,
    ) -> None:
        """`now` stamps the present; `host` is the tag that tells machines apart."""
        self._path = journal_path
        self._settings = settings
        self._now = now
        self._host = host
        self._save_cursor_s = save_cursor_s
        self._position = 0  # all up to here is delivered or of no interest
        self._saved_s = -math.inf
        self._pause_s = 0.0
        self._board = HealthBoard(max_age_s=5 * settings.every_s + 2 * _MAX_PAUSE_S)
        self.quarantined = 0

    def health(self) -> SinkHealth:
        """How delivery is doing now."""
        return self._board.health(self._now().monotonic_s)

    def run(self, stop: threading.Event) -> None:
        """Deliver until `stop` is set. Raises JournalError when the journal fails."""
        database = Database(self._settings)
        try:
            with Journal.open(self._path) as journal:
                journal.move_cursor(CURSOR, 0)  # from now on the journal keeps what we lack
                self._position = journal.cursor(CURSOR)
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
            if self._board.failed(str(error)):
                _log.warning("%s", error)
            self._pause_s = min(_MAX_PAUSE_S, max(1.0, 2 * self._pause_s))
            return self._pause_s
        self._pause_s = 0.0
        return 0.0 if more else self._settings.every_s

    def _deliver(self, journal: Journal, database: Database) -> bool:
        last = journal.last_seq()
        batch = journal.entries(self._position, until=last, kinds=KINDS, limit=self._settings.batch)
        self._write(batch, database)
        full = len(batch) == self._settings.batch
        self._position = batch[-1].seq if full else max(last, self._position)
        return full

    def _save_cursor(self, journal: Journal, every_s: float) -> None:
        now_s = self._now().monotonic_s
        if now_s - self._saved_s >= every_s:
            self._saved_s = now_s
            if self._position > journal.cursor(CURSOR):
                journal.move_cursor(CURSOR, self._position)

    def _write(self, batch: list[Entry], database: Database) -> None:
        lines = [line for entry in batch if (line := line_of(entry, self._host)) is not None]
        if not lines:
            return
        refused = self._written(lines, database)
        if len(refused) == len(lines) >= _SUSPICIOUS and not _about_points(refused):
            raise SinkUnavailable(
                f"the database at {self._settings.url} refuses everything "
                f"({next(iter(refused.values()))}); check [influxdb] url, org and bucket"
            )
        if refused:
            self._set_aside(refused)
        self._board.confirmed(self._now().monotonic_s)

    def _written(self, lines: list[str], database: Database) -> dict[str, str]:
        """Write `lines`, halving what is refused until the bad ones are found: {line: reason}."""
        try:
            database.write(lines)
        except PointsRefused as error:
            if len(lines) == 1:
                return {lines[0]: str(error)}
            middle = len(lines) // 2
            return {
                **self._written(lines[:middle], database),
                **self._written(lines[middle:], database),
            }
        return {}

    def _set_aside(self, refused: dict[str, str]) -> None:
        self.quarantined += len(refused)
        line, reason = list(refused.items())[-1]
        sentence = (
            f"{self.quarantined} points so far were refused by the database and set aside; "
            f"the last: {line} ({reason})"
        )
        self._board.remark(sentence, len(refused))
        _log.warning("%s", sentence)


def _about_points(refused: dict[str, str]) -> bool:
    return any(word in reason for reason in refused.values() for word in _ABOUT_POINTS)
