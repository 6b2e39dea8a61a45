"""From the form of an older journal to today's: a copy first, then one transaction."""

import os
import sqlite3
import zlib
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from pathlib import Path

from afterfill.journal.blocks import Packed
from afterfill.journal.check import (
    FORM,
    NUMBERED_AFTER,
    SCHEMA,
    UNCHECKED_UNTIL,
    check_of,
    schema_check,
    with_check,
)
from afterfill.journal.contents import Contents
from afterfill.journal.tables import BLOCK_TABLES, GAP_TABLE

_FORM_OF_OLD_TAILS = 3
Step = Callable[[sqlite3.Connection], None]
_TABLES = ("word", "record", "inbox", "cursor", "snapshot", "meta", "block", "span")
# Of each small table: its key, and the columns that its checksum covers.
_SMALL = {
    "word": ("id", "id, text"),
    "inbox": ("id", "body, stamp"),
    "cursor": ("name", "name, seq"),
    "snapshot": ("rowid", "tank, seq, state"),
    "meta": ("key", "key, value"),
    "span": ("last_seq", "last_seq, first_seq, tank, from_ms, to_ms, kinds"),
}


def run_all(db: sqlite3.Connection, statements: str) -> None:
    """Each of the statements, within the transaction (`executescript` would end it)."""
    for statement in filter(str.strip, statements.split(";\n")):
        db.execute(statement)


def _compressed_snapshots(db: sqlite3.Connection) -> None:
    for tank, seq, state in db.execute("SELECT tank, seq, state FROM snapshot").fetchall():
        db.execute(
            "UPDATE snapshot SET state = ? WHERE tank = ? AND seq = ?",
            (zlib.compress(state), tank, seq),
        )


def _blocks(db: sqlite3.Connection) -> None:
    """Old rows stay where they are: converting a card full of them would take hours."""
    run_all(db, BLOCK_TABLES)
    db.execute("INSERT INTO meta VALUES ('journal', lower(hex(randomblob(8))))")


def _checksums(db: sqlite3.Connection) -> None:
    """The small tables get their checksums; rows of `record` and `block` stay as they are, since
    there may be a card full of them, and count as unchecked."""
    for table in _TABLES:
        db.execute(f"ALTER TABLE {table} ADD COLUMN crc INTEGER")
    for table, (key, columns) in _SMALL.items():
        rows = db.execute(f"SELECT {key}, {columns} FROM {table}").fetchall()
        for name, *values in rows:
            check = check_of(table, values)
            db.execute(f"UPDATE {table} SET crc = ? WHERE {key} = ?", (check, name))
    run_all(db, GAP_TABLE)
    queries = (
        "SELECT max(seq) FROM sqlite_sequence WHERE name = 'record'",
        "SELECT max(seq) FROM record",
        "SELECT max(last_seq) FROM block",
    )
    last = max(db.execute(query).fetchone()[0] or 0 for query in queries)
    begin(db, after=last, unchecked=last)


def begin(db: sqlite3.Connection, *, after: int = 0, unchecked: int = 0) -> None:
    """What `meta` says of a journal with checksums: from which number on each is accounted for,
    up to which rows may lack a checksum, the form, and the checksum of the schema."""
    facts = {
        NUMBERED_AFTER: str(after),
        UNCHECKED_UNTIL: str(unchecked),
        FORM: "4",
        SCHEMA: schema_check(db),
    }
    for fact in facts.items():
        db.execute("INSERT OR REPLACE INTO meta VALUES (?,?,?)", with_check("meta", fact))


# STEPS[n] leads from form n to form n + 1.
STEPS: Mapping[int, Step] = {1: _compressed_snapshots, 2: _blocks, 3: _checksums}


def backup_path(path: Path, form: int) -> Path:
    """Where the copy from before a migration lies: `afterfill.db.v1-backup`."""
    return path.with_name(f"{path.name}.v{form}-backup")


def migrate(db: sqlite3.Connection, path: Path, to_form: int, steps: Mapping[int, Step]) -> None:
    """Bring the journal at `path` to `to_form`, all or nothing. Raises sqlite3.Error."""
    form = db.execute("PRAGMA user_version").fetchone()[0]
    tail = _old_tail(db, path)
    copy_whole(db, backup_path(path, form), lambda copy: _add_as_form_3(copy, tail))
    db.execute("BEGIN IMMEDIATE")
    try:
        form = db.execute("PRAGMA user_version").fetchone()[0]  # another may have been faster
        tail = _old_tail(db, path)
        for number in range(form, to_form):
            steps[number](db)
        db.execute(f"PRAGMA user_version={to_form}")
        _add_tail(db, path, tail)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _old_tail(db: sqlite3.Connection, path: Path) -> Sequence[Packed]:
    """What a journal of form 3 holds in its tail, which this form writes in another way."""
    if db.execute("PRAGMA user_version").fetchone()[0] != _FORM_OF_OLD_TAILS:
        return []
    contents = Contents(path, db)
    try:
        return contents.view().tail
    finally:
        contents.close()


def _add_as_form_3(copy: sqlite3.Connection, tail: Sequence[Packed]) -> None:
    if not tail:
        return
    copy.executemany("INSERT INTO block VALUES (?,?,?,?,?,?,?,?,?,?)", tail)
    copy.commit()


def _add_tail(db: sqlite3.Connection, path: Path, tail: Sequence[Packed]) -> None:
    contents = Contents(path, db)
    contents.blocks.add(tail)
    contents.close()


def copy_whole(
    db: sqlite3.Connection, copy: Path, then: Callable[[sqlite3.Connection], None] | None = None
) -> None:
    """Write all that is committed into `copy`, which appears only when it is complete; before
    that, `then` may add to it.

    Others may write to the journal meanwhile. Raises sqlite3.Error or OSError.
    """
    partial = copy.with_name(f"{copy.name}.partial")
    partial.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(partial)) as target:
            db.backup(target)
            if then is not None:
                then(target)
            target.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        with partial.open("rb") as file:
            os.fsync(file.fileno())
        partial.replace(copy)
    finally:
        partial.unlink(missing_ok=True)
