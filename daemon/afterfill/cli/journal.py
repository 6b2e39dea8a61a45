"""`afterfill journal`: a copy of the journal, also while the service writes to it."""

from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption, loaded, reading_journal
from afterfill.errors import JournalError

journal = typer.Typer(help="Keep a copy of the journal.", no_args_is_help=True)


@journal.callback()
def group() -> None:
    """Keep a copy of the journal."""


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
