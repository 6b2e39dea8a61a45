"""From the form of an older journal to today's: a copy first, then one transaction."""

import os
import sqlite3
import zlib
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

from afterfill.journal.tables import BLOCK_TABLES

Step = Callable[[sqlite3.Connection], None]


def _compressed_snapshots(db: sqlite3.Connection) -> None:
    for tank, seq, state in db.execute("SELECT tank, seq, state FROM snapshot").fetchall():
        db.execute(
            "UPDATE snapshot SET state = ? WHERE tank = ? AND seq = ?",
            (zlib.compress(state), tank, seq),
        )


def _blocks(db: sqlite3.Connection) -> None:
    """Old rows stay where they are: converting a card full of them would take hours."""
    for statement in BLOCK_TABLES.split(";\n"):
        db.execute(statement)


# STEPS[n] leads from form n to form n + 1.
STEPS: Mapping[int, Step] = {1: _compressed_snapshots, 2: _blocks}


def backup_path(path: Path, form: int) -> Path:
    """Where the copy from before a migration lies: `afterfill.db.v1-backup`."""
    return path.with_name(f"{path.name}.v{form}-backup")


def migrate(db: sqlite3.Connection, path: Path, to_form: int, steps: Mapping[int, Step]) -> None:
    """Bring the journal at `path` to `to_form`, all or nothing. Raises sqlite3.Error."""
    form = db.execute("PRAGMA user_version").fetchone()[0]
    copy_whole(db, backup_path(path, form))
    db.execute("BEGIN IMMEDIATE")
    try:
        form = db.execute("PRAGMA user_version").fetchone()[0]  # another may have been faster
        for number in range(form, to_form):
            steps[number](db)
        db.execute(f"PRAGMA user_version={to_form}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


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
