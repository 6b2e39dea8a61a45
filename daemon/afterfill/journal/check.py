"""The checksum that every row carries, and what becomes of a row that does not match it.

It covers the name of the table and all columns, with strings in place of their numbers. A row that
does not match is skipped and counted, never believed. Rows of forms 1 to 3 have none: they count
as unchecked, up to the number that the migration left in `meta`.
"""

import json
import sqlite3
import threading
import zlib
from collections.abc import Callable, Sequence
from json.encoder import encode_basestring_ascii
from pathlib import Path
from typing import Any

from afterfill.errors import PayloadError

# Rows of `meta`.
UNCHECKED_UNTIL, NUMBERED_AFTER = "unchecked-until", "numbered-after"
FORM, SCHEMA, JOURNAL_NAME = "form", "schema", "journal"
CHECKED_FORM = 4
_ALL = 1 << 62

Value = int | float | str | bytes | None
# As JSON, of a blob its length; one by one, since an encoder costs more than a row's few values.
_ENCODED: dict[type, Callable[[Any], str]] = {
    int: str,
    str: encode_basestring_ascii,
    bytes: lambda blob: str(len(blob)),
}


class Damaged(PayloadError):
    """A row that does not match its checksum."""


def check_of(table: str, values: Sequence[Value]) -> int:
    """The checksum of a row of `table`: signed, 32 bits."""
    texts = [_ENCODED.get(type(value), json.dumps)(value) for value in (table, *values)]
    check = zlib.crc32(f"[{','.join(texts)}]".encode("ascii"))
    for value in values:
        if isinstance(value, bytes):
            check = zlib.crc32(value, check)
    return check - (1 << 32) if check >> 31 else check


def with_check(table: str, values: Sequence[Value]) -> tuple[Value, ...]:
    """The row as it is stored."""
    return (*values, check_of(table, values))


def lenient(data: bytes) -> str:
    """Text as SQLite gives it; bytes that are none must not end a whole query."""
    return data.decode("utf-8", "surrogateescape")


def schema_check(db: sqlite3.Connection) -> str:
    """The checksum of the schema's own text."""
    rows = db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name")
    return str(check_of("sqlite_master", [column for row in rows for column in row]))


class Checks:
    """What one connection has found damaged. Raises sqlite3.Error."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self._path, self._db = path, db
        self._form = 0
        self._until: int | None = None
        self.damaged: set[tuple[str, Value]] = set()

    @property
    def there(self) -> bool:
        """Whether the tables carry checksums yet: an older journal may be read before it is
        brought up."""
        if self._form < CHECKED_FORM:
            self._form = self._db.execute("PRAGMA user_version").fetchone()[0]
        return self._form >= CHECKED_FORM

    @property
    def column(self) -> str:
        """The column to ask for."""
        return "crc" if self.there else "NULL"

    def hold(
        self, table: str, key: Value, values: Sequence[Value], crc: Value, number: int = _ALL
    ) -> bool:
        """Whether a row is sound, or was never given a checksum (`number`: its first number); one
        that is not is noted."""
        if crc is None and (not self.there or number <= self.unchecked_until):
            return True
        if crc == check_of(table, values):
            return True
        self.note(table, key)
        return False

    def note(self, table: str, key: Value) -> None:
        """A row was found damaged."""
        self.damaged.add((table, key))
        _note(self._path, table, key)

    @property
    def unchecked_until(self) -> int:
        """Up to this number rows may lack a checksum."""
        if self._until is None:
            query = "SELECT value, crc FROM meta WHERE key = ?"
            row = self._db.execute(query, (UNCHECKED_UNTIL,)).fetchone()
            sound = row is not None and row[1] == check_of("meta", (UNCHECKED_UNTIL, row[0]))
            self._until = int(row[0]) if sound else _ALL - 1
        return self._until


_met: dict[Path, set[tuple[str, Value]]] = {}
_lock = threading.Lock()


def _note(path: Path, table: str, key: Value) -> None:
    with _lock:
        _met.setdefault(path, set()).add((table, key))


def met_damaged(path: Path) -> int:
    """How many damaged rows of the journal at `path` this process has met, in all its threads."""
    with _lock:
        return len(_met.get(path, ()))


def met_sentence(rows: int) -> str:
    """What is said of rows that were met while running."""
    return (
        f"{rows} rows of the journal do not match their checksum and were skipped; "
        "`afterfill journal check` says which, the next start of the service sorts them out"
    )
