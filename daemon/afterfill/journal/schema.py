"""The journal's tables, and how a connection to them is opened.

WAL lets others read while the core writes; synchronous FULL makes a commit outlive a power cut.
Kinds, tanks and boots are stored as small numbers (table `word`), since the rows are many.
"""

import os
import sqlite3
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from afterfill.errors import JournalDamaged, JournalError
from afterfill.journal.check import JOURNAL_NAME, lenient, with_check
from afterfill.journal.migration import STEPS, begin, migrate, run_all
from afterfill.journal.tables import TABLES

VERSION = 4
BUSY_S = 10.0  # transactions last milliseconds; an SD card may stall for seconds (our judgement)
_MAKING_S = 2.0
# Each commit writes the last page of every table and index again: small pages and rare checkpoints
# write 40 % less than SQLite's defaults (measured: three probes, 10 s, commits each 30 s).
_PAGE_BYTES, _CHECKPOINT_PAGES = 1024, 4000


def connect(path: Path, *, read_only: bool) -> sqlite3.Connection:
    """A connection to the journal at `path`, its tables made when the file is new.

    Raises JournalError when the file is absent (read only), damaged, unreadable or too new.
    """
    with one_sentence(path):
        if not read_only:
            _share_with_group(path)
        mode = "ro" if read_only else "rwc"
        uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
        connection = sqlite3.connect(uri, uri=True, timeout=BUSY_S, isolation_level=None)
        connection.text_factory = lenient
        try:
            _prepare(connection, path, read_only)
        except BaseException:
            connection.close()
            raise
        return connection


def _share_with_group(path: Path) -> None:
    """A new journal in a folder that a group shares (as the package makes it) is the group's too;
    SQLite makes its other files like it."""
    folder = path.absolute().parent
    try:
        shared = folder.stat().st_mode & (stat.S_ISGID | stat.S_IWGRP)
        if shared != stat.S_ISGID | stat.S_IWGRP or path.exists():
            return
        made = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o660)
        os.fchmod(made, 0o660)  # whatever the umask
        os.close(made)
    except OSError:
        pass  # what is the matter, SQLite says next


@contextmanager
def one_sentence(path: Path) -> Iterator[None]:
    """Turns what SQLite says into a JournalError that names the file and how to mend it."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:
        family = JournalDamaged if _is_damage(error) else JournalError
        raise family(f"the journal {path} {_advice(path, error)}") from error


# What SQLite says of bytes that it never wrote; a changed schema may speak of any name.
_DAMAGE = (
    "not a database", "malformed", "UTF-8", "no such", "unsupported file format", "unrecognized",
    "syntax error", "has no column", "values were supplied", "too big", "unknown database",
    "constraint failed", "mismatch",
)  # fmt: skip


def _is_damage(error: Exception) -> bool:
    return isinstance(error, UnicodeDecodeError) or any(word in str(error) for word in _DAMAGE)


def _advice(path: Path, error: Exception) -> str:
    text = str(error)
    if _is_damage(error):
        return (
            f"is damaged, or was never a journal ({text}); if [journal] path is right, "
            "`afterfill run` keeps the damaged file aside on starting"
        )
    if "unable to open" in text:
        return f"cannot be opened; does {path.parent} exist, and may this user use it?"
    if "readonly" in text:
        return "cannot be written; may this user write the file and its folder?"
    if "disk is full" in text:
        return "cannot grow: the disk is full; free some space"
    if "locked" in text:
        return f"has been locked by another program for {BUSY_S:g} s; which one has it open?"
    return f"failed: {text}"


def _prepare(connection: sqlite3.Connection, path: Path, read_only: bool) -> None:
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise JournalError(
            f"the journal {path} was written by a newer afterfill (its form is {version}, this one "
            f"knows {VERSION}); install that version, or choose another [journal] path"
        )
    if read_only:
        _await_tables(connection, path)
        return
    if version == 0:
        _create(connection, path)
    elif version < VERSION:
        migrate(connection, path, VERSION, STEPS)
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute(f"PRAGMA wal_autocheckpoint={_CHECKPOINT_PAGES}")


def _await_tables(connection: sqlite3.Connection, path: Path) -> None:
    """A journal that the service is just making is empty for a moment: wait for its tables. They
    are asked for before the form, since both may come between the two questions."""
    deadline = time.monotonic() + _MAKING_S
    while True:
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if connection.execute("PRAGMA user_version").fetchone()[0] != 0:
            return
        if tables or time.monotonic() > deadline:
            raise JournalError(f"{path} is not a journal of afterfill; is the path right?")
        time.sleep(0.05)


def _create(connection: sqlite3.Connection, path: Path) -> None:
    connection.execute(f"PRAGMA page_size={_PAGE_BYTES}")  # only works as the very first
    connection.execute("PRAGMA auto_vacuum=INCREMENTAL")
    _to_wal(connection)
    connection.execute("BEGIN IMMEDIATE")
    try:
        # another process may have been faster
        if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
            if connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                raise JournalError(f"{path} is a database of something else; choose another path")
            run_all(connection, TABLES)
            _name(connection)
            begin(connection)
            connection.execute(f"PRAGMA user_version={VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def _name(connection: sqlite3.Connection) -> None:
    """The row that tells this journal from any other."""
    name = os.urandom(8).hex()
    connection.execute("INSERT INTO meta VALUES (?,?,?)", with_check("meta", (JOURNAL_NAME, name)))


def _to_wal(connection: sqlite3.Connection) -> None:
    """SQLite does not wait here when two processes create the file at once: we do."""
    deadline = time.monotonic() + BUSY_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.02)
