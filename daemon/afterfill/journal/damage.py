"""A journal that is damaged on the disk is kept aside under another name, never thrown away.

Only what can be told to have been a journal of ours is renamed: SQLite's log lies beside it, our
own words are in it, or its first sector is what a card gives for a block it lost. Each alone is
enough, and none is found with a text, a picture or another program's database, which are refused.
"""

import mmap
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from afterfill.errors import ConfigError

_ASIDE = ".damaged-"
_BESIDE = ("-wal", "-shm", "-tail")
# The write-ahead log's magic numbers (file format of SQLite, from memory).
_LOG_MAGIC = (b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")
# Words that SQLite stores as plain text in a journal: its tables, and its kinds of record.
_OUR_WORDS = (b"CREATE TABLE inbox", b"CREATE TABLE record", b"machine-state")
_SECTOR_BYTES = 512
_NEVER_WRITTEN = (
    bytes(_SECTOR_BYTES),
    b"\xff" * _SECTOR_BYTES,
)  # what a card gives for lost blocks


def set_aside_if_damaged(path: Path) -> Path | None:
    """Rename a damaged journal, with what lies beside it, and return its new path; None: sound.

    Only for the service at its start: nobody else may have the file open. Raises ConfigError when
    the file was never a journal, OSError when it cannot be renamed.
    """
    if not path.exists():
        return None
    logged = _has_log(path)  # asked first: SQLite may take the log away on looking
    if not is_damaged(path):
        return None
    if not (logged or _begin(path) in _NEVER_WRITTEN or _holds_our_words(path)):
        raise ConfigError(
            f"[journal] path names {path}, which is no journal of afterfill but somebody's file; "
            "choose another path, or move the file away"
        )
    aside = _free_name(path)
    for suffix in (*_BESIDE, ""):
        file = Path(f"{path}{suffix}")
        if file.exists():
            file.rename(f"{aside}{suffix}")
    return aside


def newest_aside(path: Path) -> Path | None:
    """The damaged journal that was kept aside last, if one lies beside `path`."""
    beside = path.parent.glob(f"{path.name}{_ASIDE}*")
    return max((p for p in beside if not p.name.endswith(_BESIDE)), default=None)


def is_damaged(path: Path) -> bool:
    """Whether the file is no sound database; false where that cannot be told now. Others may have
    it open. Reads the whole file: seconds for each 100 MB on a card (our judgement)."""
    uri = f"file:{quote(str(path.absolute()))}?mode=rw"
    try:
        with closing(sqlite3.connect(uri, uri=True)) as db:
            return bool(db.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok")
    except sqlite3.OperationalError:
        return False  # locked, unreadable or full: not damage, and told on opening
    except sqlite3.DatabaseError:
        return True


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
