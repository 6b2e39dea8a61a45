"""Checks of the journal itself: all of it is read."""

from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.cli.survey import survey_of
from afterfill.errors import JournalError
from afterfill.journal.damage import is_lost


def journal_finding(path: Path) -> Finding | None:
    """Nothing to say where there is no journal yet."""
    if not path.exists() and not is_lost(path):
        return None
    try:
        found = survey_of(path)
    except JournalError as error:
        return Finding("journal", "fault", str(error))
    return Finding("journal", "ok" if found.is_sound else "fault", "; ".join(found.lines()))
