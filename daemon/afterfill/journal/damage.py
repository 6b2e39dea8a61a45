"""A journal that is damaged on the disk is kept aside under another name, never thrown away.

Only what can be told to have been a journal of ours is renamed: SQLite's log lies beside it, our
own words are in it, or its first sector is what a card gives for a block it lost. Each alone is
enough, and none is found with a text, a picture or another program's database, which are refused.
"""

import json
import mmap
import os
import sqlite3
import struct
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from afterfill.errors import ConfigError, JournalError, PayloadError
from afterfill.journal.check import with_check
from afterfill.journal.salvage import Salvaged, salvage
from afterfill.journal.schema import connect
from afterfill.journal.survey import surveyed

_ASIDE = ".damaged-"
_BESIDE = ("-wal", "-shm", "-tail")
_MADE = ".mended"
MENDED = "mended"  # the row of `meta` that says what became of the journal before
# What bytes that no program wrote may lead to, beside what was thought of.
_UNREADABLE = (
    sqlite3.Error, PayloadError, ValueError, ArithmeticError, LookupError, TypeError, struct.error,
)  # fmt: skip
_LEAST_BYTES = 512  # a tail or log that holds something
# The write-ahead log's magic numbers (file format of SQLite, from memory).
_LOG_MAGIC = (b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")
# Words that SQLite stores as plain text in a journal: its tables, and its kinds of record.
_OUR_WORDS = (b"CREATE TABLE inbox", b"CREATE TABLE record", b"machine-state")
_SECTOR_BYTES = 512
_NEVER_WRITTEN = (
    bytes(_SECTOR_BYTES),
    b"\xff" * _SECTOR_BYTES,
)  # what a card gives for lost blocks


@dataclass(frozen=True)
class Mended:
    """The damaged journal was kept as `aside`; `said`: what became of it, for a person."""

    aside: Path
    said: str


def mend_if_damaged(path: Path) -> Mended | None:
    """Read all of the journal at `path`; keep it aside if it is damaged, and begin a new one with
    all that is sound in it. None: it is sound, or there is none.

    Only for the service at its start: no other program may have the file open. Raises ConfigError
    when the file was never a journal, JournalError when it cannot be read now, OSError when the
    files cannot be renamed or written.
    """
    _finish(path)
    wrong = _wrong_with(path)
    if not wrong:
        return None
    if not (_is_ours(path) or _is_empty(path)):
        raise ConfigError(
            f"[journal] path names {path}, which is no journal of afterfill but another file; "
            "choose another path, or move the file away"
        )
    aside = _free_name(path)
    said = f"the journal was damaged ({wrong}): it is kept as {aside.name}, and "
    said += _renewed(path, aside, said)
    _finish(path)
    return Mended(aside, said)


def _finish(path: Path) -> None:
    """Put the new journal in the place of the damaged one, if one was made: a kill may have come
    between."""
    made = _made(path)
    if not made.exists():
        return
    aside = _aside_of(made)
    for suffix in _BESIDE:
        Path(f"{made}{suffix}").unlink(missing_ok=True)
    if aside is None:  # hit as well: it is made again
        made.unlink()
        return
    for suffix in (*_BESIDE, ""):
        file = Path(f"{path}{suffix}")
        if file.exists():
            file.rename(f"{aside}{suffix}")
    if not aside.exists():
        aside.touch()  # so that it is found again
    made.rename(path)


def _aside_of(made: Path) -> Path | None:
    """Under which name the journal that `made` takes the place of is kept."""
    try:
        with closing(connect(made, read_only=True)) as db:
            query = "SELECT value FROM meta WHERE key = ?"
            (value,) = db.execute(query, (MENDED,)).fetchone()
            return made.with_name(json.loads(value)[0])
    except (JournalError, *_UNREADABLE):
        return None


def is_lost(path: Path) -> str:
    """How the database is lost while its log or its tail is there; empty when it is not."""
    if not _is_empty(path):
        return ""
    beside = [s for s in ("-wal", "-tail") if _size(Path(f"{path}{s}")) > _LEAST_BYTES]
    return f"its file is {'empty' if path.exists() else 'missing'}" if beside else ""


def _wrong_with(path: Path) -> str:
    """What is wrong, empty when nothing is or nothing is there."""
    if _is_empty(path):
        return is_lost(path)
    found = surveyed(path, alone=True)
    return "" if found.is_sound else found.sentence()


def _renewed(path: Path, aside: Path, said: str) -> str:
    """Make the new journal beside the damaged one; what it holds, in words."""
    partial = Path(f"{_made(path)}.partial")
    _discard(partial)
    try:
        with closing(connect(partial, read_only=False)) as db:
            try:
                kept = _kept(salvage(path, partial, db))
            except _UNREADABLE as error:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                kept = f"a new one was begun, since nothing can be read of it ({error})"
            row = with_check("meta", (MENDED, json.dumps([aside.name, said + kept])))
            db.execute("INSERT OR REPLACE INTO meta VALUES (?,?,?)", row)
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        with partial.open("rb") as file:
            os.fsync(file.fileno())
        partial.rename(_made(path))
    finally:
        _discard(partial)
    return kept


def _kept(done: Salvaged) -> str:
    if not done.records:
        return "a new one was begun, since no record can be read of it"
    lost = f"{done.missing} records" if done.missing else "no record"
    lost += f" and {done.commands} commands" if done.commands else ""
    return f"a new one was begun with {done.records} rows that are sound; {lost} lost"


def _made(path: Path) -> Path:
    return Path(f"{path}{_MADE}")


def _discard(path: Path) -> None:
    for suffix in (*_BESIDE, ""):
        Path(f"{path}{suffix}").unlink(missing_ok=True)


def _size(path: Path) -> int:
    return path.stat().st_size if path.is_file() else 0


def _is_empty(path: Path) -> bool:
    return _size(path) == 0


def _is_ours(path: Path) -> bool:
    return _has_log(path) or _begin(path) in _NEVER_WRITTEN or _holds_our_words(path)


def newest_aside(path: Path) -> Path | None:
    """The damaged journal that was kept aside last, if one lies beside `path`."""
    beside = path.parent.glob(f"{path.name}{_ASIDE}*")
    return max((p for p in beside if not p.name.endswith(_BESIDE)), default=None)


def is_damaged(path: Path) -> bool:
    """Whether the file is no sound database; false where that cannot be told now. Others may have
    it open. Reads the whole file: seconds for each 100 MB on a card (our judgement)."""
    try:
        return not surveyed(path, alone=False).is_sound
    except JournalError:
        return False  # locked, unreadable or full: not damage, and told on opening


def _has_log(path: Path) -> bool:
    return _begin(Path(f"{path}-wal"))[:4] in _LOG_MAGIC


def _begin(path: Path) -> bytes:
    if not path.is_file():
        return b""
    with path.open("rb") as file:
        return file.read(_SECTOR_BYTES)


def _holds_our_words(path: Path) -> bool:
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        return any(content.find(words) >= 0 for words in _OUR_WORDS)


def _free_name(path: Path) -> Path:
    base = f"{path.name}{_ASIDE}{time.strftime('%Y%m%dT%H%M%SZ', time.gmtime())}"
    names = [base, *(f"{base}-{n}" for n in range(2, 1000))]
    return next(found for name in names if not (found := path.with_name(name)).exists())
