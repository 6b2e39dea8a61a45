"""`afterfill export`: a recording of a tank from the journal, with what the service found live."""

from collections.abc import Set
from pathlib import Path
from typing import Annotated

import typer

from afterfill.cli.options import (
    ConfigOption,
    JsonOption,
    TankOption,
    config_path,
    loaded,
    one_tank,
    reading_journal,
)
from afterfill.errors import UsageError

_ALL_TIME_S = (0.0, 4_102_444_800.0)  # up to the year 2100


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
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a tank's readings and events as a recording that `replay` reads.

    readings.csv and events.jsonl hold what came in, verdicts.jsonl what the service found then.
    Ends with 1 when rows of the journal are damaged or missing: what is sound is written.
    """
    from afterfill.cli.console import notice, say, say_json
    from afterfill.journal.recording import write_recording

    settings, journal_path = loaded(config)
    name = one_tank(settings, tank)
    from_s, to_s = _span(from_, to)
    with reading_journal(journal_path) as journal:
        written = write_recording(journal, name, from_s, to_s, folder)
        newer, known = journal.undecodable, journal.sound_blocks
    unreadable, lost = _left_out(journal_path, known)
    if as_json:
        say_json(
            {"kind": "export", "tank": name, "folder": str(folder), "rows": written.rows,
             "events": written.events, "findings": written.findings, "unreadable": unreadable,
             "lost": lost, "newer": newer}
        )  # fmt: skip
        raise typer.Exit(int(unreadable > 0))
    say(
        f"{folder}: {written.rows} rows of readings, {written.events} events, "
        f"{written.findings} findings"
    )
    say(
        f"replay it with: afterfill replay {folder} --config {config_path(config)} --tank {name} "
        "--out replayed.jsonl"
    )
    if newer:
        notice(f"{newer} times a row of a newer version was left out")
    if lost:
        notice(f"{lost} records of this journal were lost to damage earlier")
    if unreadable:
        notice(f"{unreadable} rows of the journal are damaged or missing and may lack here; "
               "`afterfill journal check` says more")  # fmt: skip
        raise typer.Exit(1)


def _left_out(journal_path: Path, known: Set[int]) -> tuple[int, int]:
    """How many rows of the whole journal cannot be read, and how many were lost earlier."""
    from afterfill.journal.salvage import LOST
    from afterfill.journal.survey import surveyed

    survey = surveyed(journal_path, alone=False, known=known)
    return survey.unreadable + survey.tail + bool(survey.structure), survey.explained.get(LOST, 0)


def _span(from_: str | None, to: str | None) -> tuple[float, float]:
    from afterfill.cli.times import present_s, time_from

    now_s = present_s()
    begin_s = _ALL_TIME_S[0] if from_ is None else time_from(from_, now_s)
    end_s = _ALL_TIME_S[1] if to is None else time_from(to, now_s)
    if begin_s >= end_s:
        raise UsageError(f"--from {from_} does not lie before --to {to}: swap them")
    return begin_s, end_s
