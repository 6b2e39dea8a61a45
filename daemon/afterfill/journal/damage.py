"""A journal that is damaged on the disk is kept aside under another name, never thrown away."""

import sqlite3
import time
from contextlib import closing
from pathlib import Path
from urllib.parse import quote


def set_aside_if_damaged(path: Path) -> Path | None:
    """Rename a damaged journal (with its -wal) and return its new path; None: it is sound.

    Only for the service at its start: nobody else may have the file open. Raises OSError when it
    cannot be renamed.
    """
    if not path.exists() or not _damaged(path):
        return None
    aside = _free_name(path)
    for suffix in ("-wal", "-shm", ""):
        file = Path(f"{path}{suffix}")
        if file.exists():
            file.rename(f"{aside}{suffix}")
    return aside


def _damaged(path: Path) -> bool:
    uri = f"file:{quote(str(path.absolute()))}?mode=rw"
    try:
        with closing(sqlite3.connect(uri, uri=True)) as db:
            return bool(db.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok")
    except sqlite3.OperationalError:
        return False  # locked, unreadable or full: not damage, and told on opening
    except sqlite3.DatabaseError:
        return True


def _free_name(path: Path) -> Path:
    base = f"{path.name}.damaged-{time.strftime('%Y%m%dT%H%M%SZ', time.gmtime())}"
    names = [base, *(f"{base}-{n}" for n in range(2, 1000))]
    return next(found for name in names if not (found := path.with_name(name)).exists())
