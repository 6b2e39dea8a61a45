"""All of the journal is read: what it is like, or why it cannot be told."""

from pathlib import Path

from afterfill.cli.configured import no_journal
from afterfill.errors import JournalDamaged
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
        raise no_journal(path)
    found = surveyed(path, alone=liveness(path).runs is False)
    if found.structure and not found.sound.total():
        raise JournalDamaged(
            f"the journal {path} is damaged, or was never a journal ({found.structure}); if "
            "[journal] path is right, `afterfill run` keeps the damaged file aside on starting"
        )
    return found
