"""`afterfill replay`: a recording through the same code as the live service."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from afterfill.cli.options import ConfigOption, JsonOption, TankOption, loaded, one_tank
from afterfill.errors import UsageError

if TYPE_CHECKING:
    from afterfill.records import Input


def replay(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="A recording: readings.csv and, if any, events.jsonl."),
    ],
    out: Annotated[Path, typer.Option(help="Where the findings go, one a line; - for here.")],
    every: Annotated[float, typer.Option(help="Seconds between estimates.")] = 60.0,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Judge a recording as the live service would have, as fast as it goes.

    Writes estimates, forecasts, refills, verdicts and alarms as JSON lines. The same input gives
    the same bytes.
    """
    from afterfill.cli.console import notice, say, say_json
    from afterfill.journal.recording import read_recording
    from afterfill.service.replay import replayed
    from afterfill.tank_setup import tank_setup
    from afterfill.wire import to_line, to_published

    if not every > 0.0:
        raise UsageError(f"--every {every:g} is no interval: give seconds above 0, such as 60")
    settings, _ = loaded(config)
    name = one_tank(settings, tank)
    setup = tank_setup(settings, name)
    counts: dict[str, int] = {}
    inputs = _with_progress(read_recording(folder, name, notice=notice), folder)
    with _written(out) as file:
        for output in replayed(setup, inputs, every):
            wire = to_published(output)
            counts[wire["kind"]] = counts.get(wire["kind"], 0) + 1
            file.write(f"{to_line(wire)}\n")
    if str(out) != "-":
        answer = {"kind": "replay", "tank": name, "out": str(out), "lines": counts}
        said = ", ".join(f"{n} {kind}" for kind, n in counts.items()) or "nothing found"
        say_json(answer) if as_json else say(f"{out}: {said}")


@contextmanager
def _written(out: Path) -> Iterator[TextIO]:
    """A file that appears under its name only when it is complete."""
    if str(out) == "-":
        yield sys.stdout
        return
    partial = out.with_name(f"{out.name}.partial")
    try:
        with partial.open("w", encoding="utf-8") as file:
            yield file
        os.replace(partial, out)
    except OSError as error:
        raise UsageError(f"{out}: cannot be written ({error}); choose another --out") from error
    finally:
        partial.unlink(missing_ok=True)


def _with_progress(inputs: "Iterator[Input]", folder: Path) -> "Iterator[Input]":
    """The same inputs, with a bar on standard error where a person looks at it."""
    if not sys.stderr.isatty():
        yield from inputs
        return
    from rich.progress import Progress

    from afterfill.cli.console import console
    from afterfill.records import Reading, Tick

    with Progress(console=console(stderr=True), transient=True) as progress:
        task = progress.add_task("replaying", total=_rows(folder))
        before_s: Any = None
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
