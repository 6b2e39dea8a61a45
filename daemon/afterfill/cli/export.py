"""`afterfill export`: a recording of a tank from the journal, with what the service found live."""

from collections.abc import Iterator, Set
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from afterfill.cli.configured import config_path, loaded, one_tank, reading_journal
from afterfill.cli.console import notice, tell
from afterfill.cli.options import Asked
from afterfill.cli.times import period_from, present_s
from afterfill.journal.recording import Written, write_recording
from afterfill.journal.salvage import LOST
from afterfill.journal.survey import surveyed

_ALL_TIME_S = (0.0, 4_102_444_800.0)  # up to the year 2100


@dataclass(frozen=True, slots=True)
class _Exported:
    """What was written into `folder`, and rows of the whole journal that may lack there:
    `unreadable` ones, those `lost` earlier, those of a `newer` version."""

    tank: str
    folder: Path
    config: Path
    written: Written
    unreadable: int
    lost: int
    newer: int

    def words(self) -> Iterator[str]:
        written = self.written
        yield (
            f"{self.folder}: {written.rows} rows of readings, {written.events} events, "
            f"{written.findings} findings"
        )
        yield (
            f"replay it with: afterfill replay {self.folder} --config {self.config} "
            f"--tank {self.tank} --out replayed.jsonl"
        )

    def notices(self) -> Iterator[str]:
        if self.newer:
            yield f"{self.newer} times a row of a newer version was left out"
        if self.lost:
            yield f"{self.lost} records of this journal were lost to damage earlier"
        if self.unreadable:
            yield (
                f"{self.unreadable} rows of the journal are damaged or missing and may lack here; "
                "`afterfill journal check` says more"
            )

    def wire(self) -> dict[str, Any]:
        return {
            "kind": "export", "tank": self.tank, "folder": str(self.folder),
            "rows": self.written.rows, "events": self.written.events,
            "findings": self.written.findings,
            "unreadable": self.unreadable, "lost": self.lost, "newer": self.newer,
        }  # fmt: skip


def export(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="The folder to write; files of these names there go."),
    ],
    from_: Annotated[
        str | None,
        typer.Option("--from", help="From this time on (2026-03-01T07:30:00Z); default: all."),
    ] = None,
    to: Annotated[
        str | None, typer.Option("--to", help="Up to, but without, this time; default: all.")
    ] = None,
    *,
    asked: Asked,
) -> None:
    """Write a tank's readings and events as a recording that `replay` reads.

    readings.csv and events.jsonl hold what came in, verdicts.jsonl what the service found then.
    Ends with 1 when rows of the journal are damaged or missing: what is sound is written.
    """
    settings = loaded(asked.config)
    name, path = one_tank(settings, asked.tank), settings.journal.path
    from_s, to_s = period_from(from_, to, present_s(), _ALL_TIME_S)
    with reading_journal(path) as journal:
        written = write_recording(journal, name, from_s, to_s, folder)
        newer, known = journal.undecodable, journal.sound_blocks
    exported = _Exported(
        name, folder, config_path(asked.config), written, *_left_out(path, known), newer
    )
    tell(exported.words(), exported.wire(), as_json=asked.as_json)
    if not asked.as_json:
        for line in exported.notices():
            notice(line)
    if exported.unreadable:
        raise typer.Exit(1)


def _left_out(journal_path: Path, known: Set[int]) -> tuple[int, int]:
    """How many rows of the whole journal cannot be read, and how many were lost earlier."""
    survey = surveyed(journal_path, alone=False, known=known)
    return survey.unreadable + survey.tail + bool(survey.structure), survey.explained.get(LOST, 0)
