"""`afterfill journal`: a copy of the journal, and whether all of it is sound."""

from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption, loaded, reading_journal
from afterfill.errors import JournalError

journal = typer.Typer(
    help="Copy the journal, or read all of it to see whether it is sound.", no_args_is_help=True
)


@journal.callback()
def group() -> None:
    """Copy the journal, or read all of it to see whether it is sound."""


@journal.command()
def backup(
    file: Annotated[Path, typer.Argument(help="The new file to write; must not exist yet.")],
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Copy all that is committed into FILE. Works whether the service runs or not.

    To restore: stop the service, delete the journal's -wal, -shm and -tail, copy FILE over the
    journal, start the service.
    """
    _, journal_path = loaded(config)
    with reading_journal(journal_path) as opened:
        opened.back_up(file)
    try:
        size_bytes = file.stat().st_size
    except OSError as error:
        raise JournalError(f"the backup {file} is gone again: {error.strerror}") from error
    if as_json:
        from afterfill.journal.codec import compact

        typer.echo(compact({"file": str(file), "bytes": size_bytes}))
    else:
        typer.echo(f"the journal is copied to {file} ({size_bytes / 1e6:.1f} MB)")


@journal.command()
def check(config: ConfigOption = None, as_json: JsonOption = False) -> None:
    """Read all of the journal: what is sound, what is damaged, what is missing.

    Ends with 1 when something is damaged or missing, with 3 when the journal cannot be read. Works
    whether the service runs or not, and changes nothing: the next start of the service keeps a
    damaged journal aside and goes on with what is sound.
    """
    from afterfill.cli.check.journal import survey_of

    _, journal_path = loaded(config)
    found = survey_of(journal_path)
    if as_json:
        from afterfill.journal.codec import compact

        typer.echo(compact(found.wire()))
    else:
        for line in found.lines():
            typer.echo(line)
    if not found.is_sound:
        raise typer.Exit(1)
