"""`afterfill replay`: a recording through the same code as the live service."""

import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Annotated, TextIO

import typer
from rich.progress import Progress

from afterfill.cli.configured import loaded, one_tank
from afterfill.cli.console import console, notice, tell
from afterfill.cli.options import Asked
from afterfill.cli.typed import number_option
from afterfill.cli.whole_file import whole_file
from afterfill.errors import UsageError
from afterfill.journal.recording import read_recording
from afterfill.records import Input, Reading, Tick
from afterfill.service.replay import replayed
from afterfill.tank_setup import tank_setup
from afterfill.wire import to_line, to_published


def replay(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="A recording: readings.csv and, if any, events.jsonl."),
    ],
    out: Annotated[Path, typer.Option(help="Where the findings go, one a line; - for here.")],
    every: Annotated[float, number_option("--every", help="Seconds between estimates.")] = 60.0,
    *,
    asked: Asked,
) -> None:
    """Judge a recording as the live service would have, as fast as it goes.

    Writes estimates, forecasts, refills, verdicts and alarms as JSON lines. The same input gives
    the same bytes.
    """
    if not every > 0.0:
        raise UsageError(f"--every {every:g} is no interval: give seconds above 0, such as 60")
    settings = loaded(asked.config)
    name = one_tank(settings, asked.tank)
    counts = Counter[str]()
    inputs = _with_progress(read_recording(folder, name, notice=notice), folder)
    with _written(out) as file:
        for output in replayed(tank_setup(settings, name), inputs, every):
            wire = to_published(output)
            counts[wire["kind"]] += 1
            file.write(f"{to_line(wire)}\n")
    if str(out) != "-":
        said = ", ".join(f"{n} {kind}" for kind, n in counts.items()) or "nothing found"
        answer = {"kind": "replay", "tank": name, "out": str(out), "lines": counts}
        tell([f"{out}: {said}"], answer, as_json=asked.as_json)


def _written(out: Path) -> AbstractContextManager[TextIO]:
    if str(out) == "-":
        return nullcontext(sys.stdout)
    return whole_file(out, UsageError, "choose another --out")


def _with_progress(inputs: Iterator[Input], folder: Path) -> Iterator[Input]:
    """The same inputs, with a bar on standard error where a person looks at it."""
    if not sys.stderr.isatty():
        yield from inputs
        return
    with Progress(console=console(stderr=True), transient=True) as progress:
        task = progress.add_task("replaying", total=_rows(folder))
        before_s: float | None = None
        for record in inputs:
            if isinstance(record, Reading | Tick) and record.time_s != before_s:
                before_s = record.time_s
                progress.advance(task)
            yield record


def _rows(folder: Path) -> int | None:
    try:
        with (folder / "readings.csv").open("rb") as file:
            return max(1, sum(1 for _ in file) - 1)
    except OSError:
        return None
