"""Checks of the journal itself: all of it is read."""

from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.errors import JournalDamaged, JournalError
from afterfill.journal.damage import is_lost
from afterfill.journal.survey import Survey, surveyed
from afterfill.service.liveness import liveness


def survey_of(path: Path) -> Survey:
    """What all of the journal at `path` is like. Raises JournalError when it cannot be read."""
    lost = is_lost(path)
    if lost:
        raise JournalDamaged(
            f"the journal {path} cannot be read: {lost}, and its newest part lies beside it; "
            "`afterfill run` keeps that aside on starting and goes on with what is sound in it"
        )
    if not path.exists():
        raise JournalError(
            f"the journal {path} does not exist: the service has not run with this "
            "configuration yet (`afterfill run`)"
        )
    found = surveyed(path, alone=liveness(path).runs is False)
    if found.structure and not found.sound.total():
        raise JournalDamaged(
            f"the journal {path} is damaged, or was never a journal ({found.structure}); if "
            "[journal] path is right, `afterfill run` keeps the damaged file aside on starting"
        )
    return found


def journal_finding(path: Path) -> Finding | None:
    """Nothing to say where there is no journal yet."""
    if not path.exists() and not is_lost(path):
        return None
    try:
        found = survey_of(path)
    except JournalError as error:
        return Finding("journal", "fault", str(error))
    return Finding("journal", "ok" if found.is_sound else "fault", "; ".join(found.lines()))
