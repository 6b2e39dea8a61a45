"""The table `record`: what is rare, and so has a row and index entries of its own.

Journals of form 2 and before kept everything here; such rows are read as ever.
"""

import json
import sqlite3
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from afterfill.errors import PayloadError
from afterfill.journal.block import Row
from afterfill.journal.check import Checks, Damaged, check_of
from afterfill.journal.codec import body_of, compact, record_of
from afterfill.journal.entry import Entry
from afterfill.journal.strings import Strings
from afterfill.record_kinds import KIND_OF
from afterfill.records import Stamp

_CHUNK = 1000  # rows read at once: no long read holds back the checkpoint
_LAST = 1 << 62
COLUMNS = (
    "r.seq, r.time_ms, r.lag_ms, r.synchronised, r.boot, r.monotonic_s, r.kind, r.tank, r.body"
)
_STRINGS = (4, 6, 7)  # the columns that hold numbers of strings


class Chunk:
    """Rows as SQLite gave them, the last column their checksum."""

    def __init__(self, rows: Sequence[Any], strings: Strings, checks: Checks) -> None:
        self._rows, self._strings, self._checks = rows, strings, checks

    def entry(self, index: int) -> Entry:
        """Row `index`. Raises Damaged when it does not match its checksum, PayloadError when this
        version does not know its form."""
        *columns, crc = self._rows[index]
        covered = with_strings(columns, self._strings, self._checks)
        if not self._checks.hold("record", columns[0], covered, crc, columns[0]):
            raise Damaged(f"row {columns[0]} does not match its checksum")
        seq, time_ms, lag_ms, synchronised, boot, monotonic_s, kind, tank, text = covered
        stamp = Stamp((time_ms + lag_ms) / 1000, bool(synchronised), boot, monotonic_s)
        try:
            body = json.loads(text)
        except ValueError as error:
            raise PayloadError(f"a '{kind}' row of another version: {error}") from error
        return Entry(seq, stamp, record_of(kind, tank, time_ms, body))


def with_strings(columns: Sequence[Any], strings: Strings, checks: Checks) -> list[Any]:
    """The columns of a row with strings in place of their numbers. Raises Damaged."""
    covered = list(columns)
    for at in _STRINGS:
        try:
            covered[at] = strings.text(columns[at])
        except Damaged:
            checks.note("record", columns[0])
            raise
    return covered


class Rows:
    """The table through one connection. Raises sqlite3.Error."""

    def __init__(self, db: sqlite3.Connection, strings: Strings, checks: Checks) -> None:
        self._db, self._strings, self._checks = db, strings, checks

    def add(self, rows: Sequence[Row]) -> None:
        """Insert `rows`; within a transaction."""
        values = [self._columns(row) for row in rows]
        self._db.executemany("INSERT INTO record VALUES (?,?,?,?,?,?,?,?,?,?)", values)

    def _chosen(self) -> str:
        return f"SELECT {COLUMNS}, {self._checks.column} FROM record r"

    def _chunk(self, rows: Sequence[Any]) -> Chunk:
        return Chunk(rows, self._strings, self._checks)

    def after(
        self, after: int, last: int, kinds: Collection[str] | None, tank: str | None, limit: int
    ) -> Iterator[tuple[int, Chunk, int]]:
        """(number, source, index) of what has `after` < number <= `last`, in order."""
        where, values = _filter(kinds, tank)
        while True:
            rows = self._db.execute(
                f"{self._chosen()} WHERE r.seq > ? AND r.seq <= ?{where} ORDER BY r.seq LIMIT ?",
                (after, last, *values, min(limit, _CHUNK)),
            ).fetchall()
            if not rows:
                return
            chunk, after = self._chunk(rows), rows[-1][0]
            yield from ((row[0], chunk, index) for index, row in enumerate(rows))

    def between(
        self, last_seq: int, tank: str, from_ms: int, to_ms: int, kinds: Collection[str] | None
    ) -> Iterator[tuple[int, int, Chunk, int]]:
        """(time, number, source, index) of times [ms] in [from_ms, to_ms), in that order, with
        numbers up to `last_seq`."""
        where, values = _filter(kinds, tank)
        last = (from_ms - 1, _LAST)
        while True:
            rows = self._db.execute(
                f"{self._chosen()} WHERE (r.time_ms, r.seq) > (?, ?)"
                f" AND r.time_ms < ? AND r.seq <= ?{where}"
                f" ORDER BY r.time_ms, r.seq LIMIT {_CHUNK}",
                (*last, to_ms, last_seq, *values),
            ).fetchall()
            if not rows:
                return
            chunk, last = self._chunk(rows), (rows[-1][1], rows[-1][0])
            yield from ((row[1], row[0], chunk, index) for index, row in enumerate(rows))

    def newest(
        self, last_seq: int, kind: str, tank: str, n: int
    ) -> Iterator[tuple[int, Chunk, int]]:
        """(number, source, index) of a kind up to number `last_seq`, the newest first; `n` are
        likely to be wanted."""
        where, values = _filter(None, tank)
        before = last_seq + 1
        while True:
            rows = self._db.execute(
                f"{self._chosen()} WHERE r.kind = (SELECT id FROM word WHERE text = ?)"
                f" AND r.seq < ?{where} ORDER BY r.seq DESC LIMIT ?",
                (kind, before, *values, min(n, _CHUNK)),
            ).fetchall()
            if not rows:
                return
            chunk, before = self._chunk(rows), rows[-1][0]
            yield from ((row[0], chunk, index) for index, row in enumerate(rows))

    def _columns(self, row: Row) -> tuple[Any, ...]:
        stamp = row.stamp
        covered: list[Any] = [
            row.seq,
            row.time_ms,
            round(stamp.time_s * 1000) - row.time_ms,
            int(stamp.synchronised),
            stamp.boot_id,
            float(stamp.monotonic_s),
            KIND_OF[type(row.record)],
            row.record.tank,
            compact(body_of(row.record)),
        ]
        check = check_of("record", covered)
        for at in _STRINGS:
            covered[at] = self._strings.number(covered[at])
        return (*covered, check)


def _filter(kinds: Collection[str] | None, tank: str | None) -> tuple[str, list[str]]:
    where, values = "", []
    if kinds is not None:
        marks = ",".join("?" * len(kinds))
        where += f" AND r.kind IN (SELECT id FROM word WHERE text IN ({marks}))"
        values += list(kinds)
    if tank is not None:
        where += " AND r.tank = (SELECT id FROM word WHERE text = ?)"
        values.append(tank)
    return where, values
