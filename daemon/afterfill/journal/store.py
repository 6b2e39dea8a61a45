"""The journal: an append-only store of all records, with an inbox, cursors and snapshots.

One thread (the core) appends. What it appends waits in memory and is written by `commit()` in
one short transaction, so that no other process ever waits for more than milliseconds and an SD
card is spared. Readers see what is committed. Other threads and processes open a Journal of
their own; a Journal belongs to the thread that opened it.
"""

import json
import sqlite3
import zlib
from collections.abc import Collection, Iterator, Sequence, Set
from contextlib import contextmanager, suppress
from dataclasses import astuple, dataclass, field
from itertools import chain
from pathlib import Path
from types import TracebackType

from afterfill.errors import JournalError
from afterfill.journal.block import Row
from afterfill.journal.block_text import Text
from afterfill.journal.blocks import Blocks, View
from afterfill.journal.check import NUMBERED_AFTER, Checks, with_check
from afterfill.journal.codec import check_finite, compact, left_of
from afterfill.journal.contents import Contents
from afterfill.journal.entry import Entry
from afterfill.journal.mark import mark_inbox, mark_record
from afterfill.journal.migration import copy_whole
from afterfill.journal.outlook import days_until_lost
from afterfill.journal.retention import Dropped, prune
from afterfill.journal.schema import connect, one_sentence
from afterfill.journal.strings import Strings
from afterfill.journal.thinning import superfluous
from afterfill.records import Left, Record, Stamp
from afterfill.wire import to_wire

SHED = "dropped while the disk took nothing"  # why numbers are empty

__all__ = ["Entry", "Journal"]


@dataclass
class _Pending:
    rows: list[Row] = field(default_factory=list)
    taken: list[int] = field(default_factory=list)
    snapshots: dict[str, tuple[int, bytes]] = field(default_factory=dict)
    gaps: list[tuple[int, int, int, str]] = field(default_factory=list)


class Journal:
    """See the module. Every method raises JournalError with one sentence when the file fails."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        """Use `Journal.open`."""
        self.path = path
        self._db = connection
        self._contents = Contents(path, connection)
        self._pending = _Pending()
        self._next_seq: int | None = None
        self._committed_seq = 0  # known once there is a next number
        self._skipped = 0  # commands that are damaged: they stay where they are

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
        """Commit what is pending, bring all into the one file and let go of it. Safe twice."""
        try:
            self.commit()
            with suppress(JournalError):  # what stays in the tail is safe there
                self._settle()
        finally:
            self.abandon()

    def abandon(self) -> None:
        """Let go of the file as a kill would: what is pending is not written. Safe twice."""
        self._pending = _Pending()
        self._next_seq = None
        self._contents.close()
        self._db.close()

    @property
    def undecodable(self) -> int:
        """How many rows and blocks were skipped because a newer version wrote them."""
        return self._contents.undecodable

    @property
    def damaged(self) -> int:
        """How many rows were skipped because they do not match their checksum."""
        return len(self._contents.checks.damaged)

    @property
    def sound_blocks(self) -> Set[int]:
        """Last numbers of the blocks that `texts_between` found sound."""
        return self._contents.sound

    # --- the writer --------------------------------------------------------------------------

    def append(self, record: Record, stamp: Stamp) -> int:
        """Add a record to what the next `commit()` writes; returns its number."""
        check_finite(record)
        if self._next_seq is None:
            self._committed_seq = self.last_seq()
        seq = self._next_seq if self._next_seq is not None else self._committed_seq + 1
        self._next_seq = seq + 1
        self._pending.rows.append(Row(seq, record, stamp))
        return seq

    def shed(self, kinds: tuple[type[Record], ...]) -> int:
        """Forget the pending records of these types, whose numbers stay empty; how many."""
        rows = self._pending.rows
        self._pending.rows = [row for row in rows if not isinstance(row.record, kinds)]
        shed = len(rows) - len(self._pending.rows)
        if shed:
            self._pending.gaps.append((rows[-1].seq, rows[0].seq, shed, SHED))
        return shed

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

    def commit(self, *, flush: bool = True) -> None:
        """Write what is pending; others see it when this returns, and no kill undoes it.

        With `flush` no power cut undoes it either. Without, one may, until the kernel has written
        it (some 30 s), unless something else than readings, estimates and the like is pending. On
        JournalError nothing was written and all of it is still pending.
        """
        pending = self._pending
        if not (pending.rows or pending.taken or pending.snapshots):
            return
        rare = pending.taken or pending.snapshots or pending.gaps
        if in_database := bool(rare) or not self._to_tail(pending.rows, flush):
            with self._transaction():
                self._write(pending)
        if pending.rows:
            self._committed_seq = pending.rows[-1].seq
        self._pending = _Pending()
        if in_database:
            self._mark()

    def _to_tail(self, rows: list[Row], flush: bool) -> bool:
        with one_sentence(self.path):
            return self._contents.to_tail(rows, self._committed_seq, flush=flush)

    def _mark(self) -> None:
        """Note outside of the database up to which number it holds all."""
        if (name := self._contents.name) is not None:
            mark_record(self.path, name, self._committed_seq)

    def _write(self, pending: _Pending) -> None:
        if self._next_seq is not None:
            self._contents.to_database(pending.rows, self._committed_seq)
        for gap in pending.gaps:
            row = with_check("gap", gap)
            self._db.execute("INSERT OR REPLACE INTO gap VALUES (?,?,?,?,?)", row)
        for inbox_id in pending.taken:
            self._db.execute("DELETE FROM inbox WHERE id = ?", (inbox_id,))
        for tank, (seq, state) in pending.snapshots.items():
            self._insert_snapshot(tank, seq, state)

    def _settle(self) -> None:
        """Bring the tail into the database, if we are who writes it."""
        if self._next_seq is not None and self._view().tail:
            with self._transaction():
                self._contents.to_database([], self._committed_seq)

    def _insert_snapshot(self, tank: str, seq: int, state: bytes) -> None:
        row = with_check("snapshot", (tank, seq, zlib.compress(state)))
        self._db.execute("INSERT OR REPLACE INTO snapshot VALUES (?,?,?,?)", row)
        query = "SELECT seq FROM snapshot WHERE tank = ? ORDER BY seq DESC"
        numbers = [number for (number,) in self._db.execute(query, (tank,))]
        gone = [(tank, number) for number in superfluous(numbers)]
        self._db.executemany("DELETE FROM snapshot WHERE tank = ? AND seq = ?", gone)

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
                self._contents.forget()
                raise

    # --- the inbox ---------------------------------------------------------------------------

    def submit(self, event: Left, stamp: Stamp) -> int:
        """Leave a command or word for the core; on the disk when this returns. Any process may."""
        body, stamp_text = compact(to_wire(event)), compact(astuple(stamp))
        row = with_check("inbox", (body, stamp_text))
        with one_sentence(self.path):
            query = "INSERT INTO inbox (body, stamp, crc) VALUES (?,?,?)"
            name = self._contents.name
            number = self._db.execute(query, row).lastrowid or 0
        if name is not None:
            mark_inbox(self.path, name, number)
        return number

    def inbox(self, limit: int = 100) -> list[tuple[int, Left, Stamp]]:
        """The oldest commands that were not taken yet: (inbox id, event, stamp)."""
        with one_sentence(self.path):
            checks = self._contents.checks
            rows = self._db.execute(
                f"SELECT id, body, stamp, {checks.column} FROM inbox ORDER BY id LIMIT ?",
                (limit + len(self._pending.taken) + self._skipped,),
            ).fetchall()
            sound = [row for row in rows if checks.hold("inbox", row[0], row[1:3], row[3])]
        self._skipped = len(rows) - len(sound)
        waiting = [row for row in sound if row[0] not in self._pending.taken]
        found = [(row[0], left_of(row[1]), Stamp(*json.loads(row[2]))) for row in waiting]
        return [(i, event, stamp) for i, event, stamp in found if event is not None]

    # --- reading -----------------------------------------------------------------------------

    def last_seq(self) -> int:
        """The number of the newest committed record, 0 when there was none."""
        return self._view().last_seq

    def dropped_until(self) -> int:
        """The number up to which entries were dropped because of their age or size; 0: none."""
        return int(self.meta(NUMBERED_AFTER) or 0)

    def _view(self) -> View:
        with one_sentence(self.path):
            return self._contents.view()

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
        with one_sentence(self.path):
            return self._contents.entries(after, until, kinds, tank, limit)

    def between(
        self, tank: str, from_s: float, to_s: float, *, kinds: Collection[str] | None = None
    ) -> Iterator[Entry]:
        """Entries whose record's time [s] lies in [from_s, to_s), in order of that time."""
        with one_sentence(self.path):
            yield from self._contents.between(tank, round(from_s * 1000), round(to_s * 1000), kinds)

    def texts_between(
        self, tank: str, from_s: float, to_s: float, *, kinds: Collection[str]
    ) -> Iterator[Text]:
        """As `between`, as texts for files: much faster for readings, estimates and forecasts."""
        return chain.from_iterable(self._texts(tank, from_s, to_s, kinds))

    def _texts(
        self, tank: str, from_s: float, to_s: float, kinds: Collection[str]
    ) -> Iterator[Sequence[Text]]:
        with one_sentence(self.path):
            bounds = round(from_s * 1000), round(to_s * 1000)
            yield from self._contents.texts_between(tank, *bounds, kinds)

    def latest(self, kind: str, tank: str, n: int = 1) -> list[Entry]:
        """The last `n` entries of a kind for a tank, the newest first."""
        with one_sentence(self.path):
            return self._contents.latest(kind, tank, n)

    # --- cursors, snapshots, keeping house ---------------------------------------------------

    def cursor(self, name: str) -> int:
        """The number of the last record that the sink `name` has delivered; 0 at first."""
        checks = self._contents.checks
        with one_sentence(self.path):
            query = f"SELECT seq, {checks.column} FROM cursor WHERE name = ?"
            row = self._db.execute(query, (name,)).fetchone()
            sound = row is not None and checks.hold("cursor", name, (name, row[0]), row[1])
            return int(row[0]) if sound else 0

    def move_cursor(self, name: str, seq: int) -> None:
        """Say that all up to `seq` is delivered; never moves back."""
        # A cursor lost in a power cut costs a few deliveries again, no flush of the card.
        with one_sentence(self.path):
            self._db.execute("PRAGMA synchronous=NORMAL")
            try:
                row = with_check("cursor", (name, max(seq, self.cursor(name))))
                self._db.execute("INSERT OR REPLACE INTO cursor VALUES (?,?,?)", row)
            finally:
                self._db.execute("PRAGMA synchronous=FULL")

    def forget_cursor(self, name: str) -> None:
        """The sink `name` needs no queue any more: nothing is kept for it."""
        with one_sentence(self.path):
            query = "SELECT count(*) FROM cursor WHERE name = ?"
            if self._db.execute(query, (name,)).fetchone()[0]:
                self._db.execute("DELETE FROM cursor WHERE name = ?", (name,))

    def snapshot(self, tank: str, *, before: int | None = None) -> tuple[int, bytes] | None:
        """The newest committed snapshot of a tank (of those with a number below `before`)."""
        limit, checks = before if before is not None else 1 << 62, self._contents.checks
        query = (
            f"SELECT seq, state, {checks.column} FROM snapshot WHERE tank = ? AND seq < ?"
            " ORDER BY seq DESC LIMIT 1"
        )
        with one_sentence(self.path):
            while (row := self._db.execute(query, (tank, limit)).fetchone()) is not None:
                limit, state, crc = row
                if checks.hold("snapshot", f"{tank} {limit}", (tank, limit, state), crc):
                    return limit, _whole(state)
        return None

    def meta(self, key: str) -> str | None:
        """A small fact about this journal, by name."""
        with one_sentence(self.path):
            return self._contents.meta(key)

    def set_meta(self, key: str, value: str) -> None:
        """Keep a small fact; on the disk when this returns."""
        with one_sentence(self.path):
            row = with_check("meta", (key, value))
            self._db.execute("INSERT OR REPLACE INTO meta VALUES (?,?,?)", row)

    def prune(self, now_s: float, keep_days: float, max_mb: float) -> Dropped:
        """Drop what is older than `keep_days` or beyond `max_mb`; see `retention.prune`."""
        self._settle()
        with one_sentence(self.path):
            self._contents.blocks.forget()
            return prune(self._db, self._contents.blocks, now_s, keep_days, max_mb)

    def days_until_lost(self, cursor: str, max_mb: float) -> float | None:
        """Days [d] until the bound on bytes drops what the sink `cursor` has not delivered, if it
        delivers nothing meanwhile; None if that cannot be said."""
        with one_sentence(self.path):
            return days_until_lost(self._db, self._contents.blocks, self.cursor(cursor), max_mb)

    def back_up(self, copy: Path) -> None:
        """Write all that is committed into the new file `copy`, also while others write.

        Raises JournalError when `copy` exists or cannot be written.
        """
        if copy.exists():
            raise JournalError(f"{copy} exists already; choose another name for the backup")
        try:
            view = self._view()  # before the copy: what leaves the tail meanwhile is in the copy
            with one_sentence(copy):
                copy_whole(self._db, copy, lambda target: _add_tail(target, copy, view))
        except OSError as error:
            raise JournalError(f"the backup {copy} cannot be written: {error.strerror}") from error

    def size_bytes(self) -> int:
        """Bytes that the journal's files take on the disk."""
        files = [self.path, Path(f"{self.path}-wal")]
        return sum(file.stat().st_size for file in files if file.exists())


def _add_tail(copy: sqlite3.Connection, copy_path: Path, view: View) -> None:
    """What was in the tail into the copy of the database, unless it was there by then."""
    checks = Checks(copy_path, copy)
    blocks = Blocks(copy, Strings(copy, checks), checks)
    if blocks.readable():
        last = blocks.last_seq()
        blocks.add([block for block in view.tail if block.last_seq > last])
        copy.commit()


def _whole(state: bytes) -> bytes:
    """A snapshot as it was saved; form 1 of the journal kept it uncompressed."""
    try:
        return zlib.decompress(state)
    except zlib.error:
        return state
