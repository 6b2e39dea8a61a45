"""That a journal was damaged is told until the new journal holds the telling.

What lies beside the journal is compared with what the journal remembers to have told, so that a
kill between the renaming and the first commit does not swallow the alarm.
"""

import json
from contextlib import suppress
from pathlib import Path

from afterfill.errors import JournalError
from afterfill.journal.damage import MENDED, newest_aside
from afterfill.journal.store import Journal

_TOLD = "damage-told"


def untold_damage(journal_path: Path) -> str:
    """What is to be told of the journal kept aside last; empty when there is nothing to tell.

    Raises JournalError.
    """
    aside = newest_aside(journal_path)
    if aside is None:
        return ""
    with Journal.open(journal_path) as journal:
        said = _said_of(aside.name, journal)
        return "" if journal.meta(_TOLD) == said else said


def _said_of(name: str, journal: Journal) -> str:
    """What the new journal itself says of the one before it."""
    kept = journal.meta(MENDED)
    if kept is not None:
        aside, said = json.loads(kept)
        if aside == name:
            return str(said)
    return f"the journal was damaged: it is kept as {name}, and a new one was begun"


def note_told(journal: Journal, said: str) -> None:
    """Remember that it was told, once that is on the disk. Fails silently: it is told again."""
    if not journal.uncommitted:
        with suppress(JournalError):
            journal.set_meta(_TOLD, said)
