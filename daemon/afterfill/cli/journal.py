"""`afterfill journal`: a copy of the journal, and whether all of it is sound."""

from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.configured import loaded, reading_journal
from afterfill.cli.console import tell
from afterfill.cli.options import ConfigOption, JsonOption
from afterfill.cli.survey import survey_of
from afterfill.errors import JournalError


def backup(
    file: Annotated[Path, typer.Argument(help="The new file to write; must not exist yet.")],
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Copy all that is committed into FILE. Works whether the service runs or not.

    To restore: stop the service, delete the journal's -wal, -shm and -tail, copy FILE over the
    journal, start the service.
    """
    with reading_journal(loaded(config).journal.path) as opened:
        opened.back_up(file)
    try:
        size_bytes = file.stat().st_size
    except OSError as error:
        raise JournalError(f"the backup {file} is gone again: {error.strerror}") from error
    said = f"the journal is copied to {file} ({size_bytes / 1e6:.1f} MB)"
    tell([said], {"file": str(file), "bytes": size_bytes}, as_json=as_json)


def check(config: ConfigOption = None, as_json: JsonOption = False) -> None:
    """Read all of the journal: what is sound, what is damaged, what is missing.

    Ends with 1 when something is damaged or missing, with 3 when the journal cannot be read. Works
    whether the service runs or not, and changes nothing: the next start of the service keeps a
    damaged journal aside and goes on with what is sound.
    """
    found = survey_of(loaded(config).journal.path)
    tell(found.lines(), found.wire(), as_json=as_json)
    if not found.is_sound:
        raise typer.Exit(1)
