"""The journal: an append-only store of all records, with an inbox, cursors and snapshots.

One thread (the core) appends. What it appends waits in memory and is written by `commit()` in
one short transaction, so that no other process ever waits for more than milliseconds and an SD
card is spared. Readers see what is committed. Other threads and processes open a Journal of
their own; a Journal belongs to the thread that opened it.
"""

import json
import sqlite3
import zlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import astuple, dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any

from afterfill.errors import JournalError, PayloadError
from afterfill.journal.codec import body_of, compact, record_of
from afterfill.journal.migration import copy_whole
from afterfill.journal.outlook import days_until_lost
from afterfill.journal.retention import Dropped, prune
from afterfill.journal.schema import connect, one_sentence
from afterfill.records import Event, Record, Stamp
from afterfill.wire import KIND_OF, from_wire, to_wire

_CHUNK = 1000  # rows read at once: no long read holds back the checkpoint
_ROW = (
    "SELECT r.seq, r.time_ms, r.lag_ms, r.synchronised, b.text, r.monotonic_s, k.text, t.text,"
    " r.body FROM record r JOIN word b ON b.id = r.boot JOIN word k ON k.id = r.kind"
    " JOIN word t ON t.id = r.tank"
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One record of the journal with its number and its stamp."""

    seq: int
    stamp: Stamp
    record: Record


@dataclass
class _Pending:
    rows: list[tuple[int, Record, str, Stamp]] = field(default_factory=list)
    taken: list[int] = field(default_factory=list)
    snapshots: dict[str, tuple[int, bytes]] = field(default_factory=dict)


class Journal:
    """See the module. Every method raises JournalError with one sentence when the file fails."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        """Use `Journal.open`."""
        self.path = path
        self.undecodable = 0  # rows skipped because a newer version wrote them
        self._db = connection
        self._pending = _Pending()
        self._next_seq: int | None = None
        self._word_ids: dict[str, int] = {}

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> "Journal":
        """Open the journal at `path`; a new file gets its tables (not when read only)."""
        return cls(path, connect(path, read_only=read_only))

    def __enter__(self) -> "Journal":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Commit what is pending and let go of the file. Safe twice."""
        try:
            self.commit()
        finally:
            self._db.close()

    def abandon(self) -> None:
        """Let go of the file as a kill would: what is pending is dropped, nothing is written."""
        self._pending = _Pending()
        self._db.close()

    # --- the writer --------------------------------------------------------------------------

    def append(self, record: Record, stamp: Stamp) -> int:
        """Add a record to what the next `commit()` writes; returns its number."""
        body = body_of(record)
        seq = self._next_seq if self._next_seq is not None else self.last_seq() + 1
        self._next_seq = seq + 1
        self._pending.rows.append((seq, record, body, stamp))
        return seq

    def take(self, inbox_id: int, record: Record, stamp: Stamp) -> int:
        """Move a command from the inbox into the journal: both or neither, at `commit()`."""
        seq = self.append(record, stamp)
        self._pending.taken.append(inbox_id)
        return seq

    def save_snapshot(self, tank: str, seq: int, state: bytes) -> None:
        """Keep the state of a tank after record `seq`, written by the next `commit()`."""
        self._pending.snapshots[tank] = (seq, state)

    def last_appended(self) -> int:
        """The number of the newest record, committed or not."""
        return self.last_seq() if self._next_seq is None else self._next_seq - 1

    @property
    def uncommitted(self) -> int:
        """How many records wait for `commit()`."""
        return len(self._pending.rows)

    def shed(self, kinds: tuple[type[Record], ...]) -> int:
        """Drop the pending records of these types, since memory is bounded; how many they were."""
        kept = [row for row in self._pending.rows if not isinstance(row[1], kinds)]
        dropped = len(self._pending.rows) - len(kept)
        self._pending.rows = kept
        return dropped

    def commit(self) -> None:
        """Write what is pending and return when it is on the disk.

        On JournalError nothing of it was written and all of it is still pending.
        """
        pending = self._pending
        if not (pending.rows or pending.taken or pending.snapshots):
            return
        with self._transaction():
            self._insert(pending.rows)
            for inbox_id in pending.taken:
                self._db.execute("DELETE FROM inbox WHERE id = ?", (inbox_id,))
            for tank, (seq, state) in pending.snapshots.items():
                self._insert_snapshot(tank, seq, state)
        self._pending = _Pending()

    def _insert(self, rows: list[tuple[int, Record, str, Stamp]]) -> None:
        values = [self._columns(*row) for row in rows]
        try:
            self._db.executemany("INSERT INTO record VALUES (?,?,?,?,?,?,?,?,?)", values)
        except sqlite3.IntegrityError as error:
            raise JournalError(
                f"the journal {self.path} is being written by a second afterfill; stop one of them"
            ) from error

    def _columns(self, seq: int, record: Record, body: str, stamp: Stamp) -> tuple[Any, ...]:
        time_ms = round(record.time_s * 1000)
        return (
            seq,
            time_ms,
            round(stamp.time_s * 1000) - time_ms,
            int(stamp.synchronised),
            self._word(stamp.boot_id),
            stamp.monotonic_s,
            self._word(KIND_OF[type(record)]),
            self._word(record.tank),
            body,
        )

    def _word(self, text: str) -> int:
        if text not in self._word_ids:
            self._db.execute("INSERT OR IGNORE INTO word (text) VALUES (?)", (text,))
            row = self._db.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()
            self._word_ids[text] = row[0]
        return self._word_ids[text]

    def _insert_snapshot(self, tank: str, seq: int, state: bytes) -> None:
        self._db.execute(
            "INSERT OR REPLACE INTO snapshot VALUES (?,?,?)", (tank, seq, zlib.compress(state))
        )
        self._db.execute(  # the one before is kept, in case this one cannot be read back
            "DELETE FROM snapshot WHERE tank = ? AND seq NOT IN"
            " (SELECT seq FROM snapshot WHERE tank = ? ORDER BY seq DESC LIMIT 2)",
            (tank, tank),
        )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with one_sentence(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                self._word_ids.clear()
                raise

    # --- the inbox ---------------------------------------------------------------------------

    def submit(self, event: Event, stamp: Stamp) -> int:
        """Leave a command for the core; on the disk when this returns. Any process may."""
        body, stamp_text = compact(to_wire(event)), compact(astuple(stamp))
        with one_sentence(self.path):
            done = self._db.execute(
                "INSERT INTO inbox (body, stamp) VALUES (?,?)", (body, stamp_text)
            )
        return done.lastrowid or 0

    def inbox(self, limit: int = 100) -> list[tuple[int, Event, Stamp]]:
        """The oldest commands that nobody has taken yet: (inbox id, event, stamp)."""
        with one_sentence(self.path):
            rows = self._db.execute(
                "SELECT id, body, stamp FROM inbox ORDER BY id LIMIT ?",
                (limit + len(self._pending.taken),),
            ).fetchall()
        waiting = [row for row in rows if row[0] not in self._pending.taken]
        found = [(row[0], self._event(row[1]), Stamp(*json.loads(row[2]))) for row in waiting]
        return [(i, event, stamp) for i, event, stamp in found if event is not None]

    def _event(self, body: str) -> Event | None:
        try:
            event = from_wire(json.loads(body))
        except (AttributeError, KeyError, PayloadError, TypeError, ValueError):
            return None  # a newer version's command waits for that version
        return event if isinstance(event, Event) else None

    # --- reading -----------------------------------------------------------------------------

    def last_seq(self) -> int:
        """The number of the newest committed record, 0 when there was none."""
        return int(self._one("SELECT seq FROM sqlite_sequence WHERE name = 'record'") or 0)

    def entries(
        self,
        after: int = 0,
        *,
        until: int | None = None,
        kinds: Collection[str] | None = None,
        tank: str | None = None,
        limit: int = 1000,
    ) -> list[Entry]:
        """Committed entries with `after` < seq <= `until`, in order, at most `limit`."""
        where, values = self._filter(kinds, tank)
        last = until if until is not None else 1 << 62
        found: list[Entry] = []
        while len(found) < limit:  # again when rows of newer kinds were skipped
            rows = self._rows(
                f"{_ROW} WHERE r.seq > ? AND r.seq <= ?{where} ORDER BY r.seq LIMIT ?",
                (after, last, *values, limit - len(found)),
            )
            if not rows:
                break
            after = rows[-1][0]
            found += self._decoded(rows)
        return found

    def between(
        self,
        tank: str,
        from_s: float,
        to_s: float,
        *,
        kinds: Collection[str] | None = None,
    ) -> Iterator[Entry]:
        """Entries whose record's time [s] lies in [from_s, to_s), in order of that time."""
        where, values = self._filter(kinds, tank)
        last = (round(from_s * 1000) - 1, 1 << 62)
        while True:
            rows = self._rows(
                f"{_ROW} WHERE (r.time_ms, r.seq) > (?, ?) AND r.time_ms < ?{where}"
                f" ORDER BY r.time_ms, r.seq LIMIT {_CHUNK}",
                (*last, round(to_s * 1000), *values),
            )
            if not rows:
                return
            last = (rows[-1][1], rows[-1][0])
            yield from self._decoded(rows)

    def latest(self, kind: str, tank: str, n: int = 1) -> list[Entry]:
        """The last `n` entries of a kind for a tank, the newest first."""
        where, values = self._filter(None, tank)
        rows = self._rows(
            f"{_ROW} WHERE r.kind = (SELECT id FROM word WHERE text = ?){where}"
            " ORDER BY r.seq DESC LIMIT ?",
            (kind, *values, n),
        )
        return list(self._decoded(rows))

    def _filter(self, kinds: Collection[str] | None, tank: str | None) -> tuple[str, list[str]]:
        where, values = "", []
        if kinds is not None:
            marks = ",".join("?" * len(kinds))
            where += f" AND r.kind IN (SELECT id FROM word WHERE text IN ({marks}))"
            values += list(kinds)
        if tank is not None:
            where += " AND r.tank = (SELECT id FROM word WHERE text = ?)"
            values.append(tank)
        return where, values

    def _decoded(self, rows: list[Any]) -> Iterator[Entry]:
        for seq, time_ms, lag_ms, synchronised, boot, monotonic_s, kind, tank, body in rows:
            stamp = Stamp((time_ms + lag_ms) / 1000, bool(synchronised), boot, monotonic_s)
            try:
                yield Entry(seq, stamp, record_of(kind, tank, time_ms, body))
            except PayloadError:
                self.undecodable += 1

    def _rows(self, query: str, values: tuple[Any, ...] = ()) -> list[Any]:
        with one_sentence(self.path):
            return self._db.execute(query, values).fetchall()

    def _one(self, query: str, *values: object) -> Any:  # noqa: ANN401 - SQL values
        rows = self._rows(query, values)
        return rows[0][0] if rows else None

    # --- cursors, snapshots, keeping house ---------------------------------------------------

    def cursor(self, name: str) -> int:
        """The number of the last record that the sink `name` has delivered; 0 at first."""
        return int(self._one("SELECT seq FROM cursor WHERE name = ?", name) or 0)

    def move_cursor(self, name: str, seq: int) -> None:
        """Say that all up to `seq` is delivered; never moves back."""
        with one_sentence(self.path):
            # A cursor lost in a power cut costs a few deliveries again, no flush of the card.
            self._db.execute("PRAGMA synchronous=NORMAL")
            self._db.execute(
                "INSERT INTO cursor VALUES (?, ?) ON CONFLICT (name)"
                " DO UPDATE SET seq = max(seq, excluded.seq)",
                (name, seq),
            )
            self._db.execute("PRAGMA synchronous=FULL")

    def snapshot(self, tank: str, *, before: int | None = None) -> tuple[int, bytes] | None:
        """The newest committed snapshot of a tank (of those with a number below `before`)."""
        limit = before if before is not None else 1 << 62
        rows = self._rows(
            "SELECT seq, state FROM snapshot WHERE tank = ? AND seq < ? ORDER BY seq DESC LIMIT 1",
            (tank, limit),
        )
        return (rows[0][0], _whole(rows[0][1])) if rows else None

    def meta(self, key: str) -> str | None:
        """A small fact about this journal, by name."""
        found = self._one("SELECT value FROM meta WHERE key = ?", key)
        return None if found is None else str(found)

    def set_meta(self, key: str, value: str) -> None:
        """Keep a small fact; on the disk when this returns."""
        with one_sentence(self.path):
            self._db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (key, value))

    def prune(self, now_s: float, keep_days: float, max_mb: float) -> Dropped:
        """Drop what is older than `keep_days` or beyond `max_mb`; see `retention.prune`."""
        with one_sentence(self.path):
            return prune(self._db, now_s, keep_days, max_mb)

    def days_until_lost(self, cursor: str, max_mb: float) -> float | None:
        """Days [d] until the bound on bytes drops what the sink `cursor` has not delivered, if it
        delivers nothing meanwhile; None if nobody can say."""
        with one_sentence(self.path):
            return days_until_lost(self._db, self.cursor(cursor), max_mb)

    def back_up(self, copy: Path) -> None:
        """Write all that is committed into the new file `copy`, whoever writes meanwhile.

        Raises JournalError when `copy` exists or cannot be written.
        """
        if copy.exists():
            raise JournalError(f"{copy} exists already; choose another name for the backup")
        try:
            with one_sentence(copy):
                copy_whole(self._db, copy)
        except OSError as error:
            raise JournalError(f"the backup {copy} cannot be written: {error.strerror}") from error

    def size_bytes(self) -> int:
        """Bytes that the journal's files take on the disk."""
        files = [self.path, Path(f"{self.path}-wal")]
        return sum(file.stat().st_size for file in files if file.exists())


def _whole(state: bytes) -> bytes:
    """A snapshot as it was saved; form 1 of the journal kept it uncompressed."""
    try:
        return zlib.decompress(state)
    except zlib.error:
        return state
