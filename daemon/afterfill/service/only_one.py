"""One service a journal: two would number the same records and take the same commands."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from afterfill.errors import JournalError

_ASKED_FOR_S = 1.0  # a command that asks whether the service runs holds the lock for an instant


def lock_of(journal_path: Path) -> Path:
    """The file that a running service keeps locked."""
    return Path(f"{journal_path}-lock")


@contextmanager
def only_one(journal_path: Path) -> Iterator[None]:
    """Hold the journal for this process; the kernel lets go when the process ends, however.

    Raises JournalError when another process holds it or the lock's file cannot be made.
    """
    lock = lock_of(journal_path)
    try:
        held = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as error:
        raise JournalError(
            f"the journal {journal_path} cannot be used: {lock.name} cannot be made beside it "
            f"({error.strerror}); does the folder exist, and may this user write there?"
        ) from error
    try:
        _take(held)
        yield
    except BlockingIOError as error:
        raise JournalError(
            f"the journal {journal_path} is in use by another `afterfill run`; stop that one, or "
            "give this one a [journal] path of its own"
        ) from error
    finally:
        os.close(held)


def _take(held: int) -> None:
    deadline_s = time.monotonic() + _ASKED_FOR_S
    while True:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except BlockingIOError:
            if time.monotonic() > deadline_s:
                raise
            time.sleep(0.02)
