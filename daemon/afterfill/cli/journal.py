"""`afterfill journal`: a copy of the journal, and whether all of it is sound."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from afterfill.cli.configured import loaded, reading_journal
from afterfill.cli.console import say, say_json, tell
from afterfill.cli.options import ConfigOption, JsonOption
from afterfill.cli.survey import survey_of
from afterfill.errors import JournalError


@dataclass(frozen=True, slots=True)
class _Copied:
    file: Path
    size_bytes: int

    def words(self) -> Iterator[str]:
        yield f"the journal is copied to {self.file} ({self.size_bytes / 1e6:.1f} MB)"

    def wire(self) -> dict[str, Any]:
        return {"file": str(self.file), "bytes": self.size_bytes}


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
        copied = _Copied(file, file.stat().st_size)
    except OSError as error:
        raise JournalError(f"the backup {file} is gone again: {error.strerror}") from error
    tell(copied, as_json=as_json)


def check(config: ConfigOption = None, as_json: JsonOption = False) -> None:
    """Read all of the journal: what is sound, what is damaged, what is missing.

    Ends with 1 when something is damaged or missing, with 3 when the journal cannot be read. Works
    whether the service runs or not, and changes nothing: the next start of the service keeps a
    damaged journal aside and goes on with what is sound.
    """
    found = survey_of(loaded(config).journal.path)
    if as_json:
        say_json(found.wire())
    else:
        for line in found.lines():
            say(line)
    if not found.is_sound:
        raise typer.Exit(1)
