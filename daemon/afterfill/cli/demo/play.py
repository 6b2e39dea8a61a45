"""Plays the demo's story, as a screen, as lines or as JSON."""

import logging
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import typer
from rich.console import Console
from rich.live import Live

from afterfill.alarms.definitions import RESIDUAL_OXIDANT
from afterfill.cli.demo.screen import DemoScreen, verdict_text
from afterfill.config_file import load
from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.records import Verdict
from afterfill.report.event_picture import draw_event
from afterfill.simulation import demo_scenario as story
from afterfill.simulation.demo_run import CONFIG_NAME, JOURNAL_NAME, Frame, played
from afterfill.simulation.demo_scenario import HOUR_S, TOP_OFF_S
from afterfill.tank_setup import tank_setup
from afterfill.wire import to_line, to_published

_SLOW_FRAME_S = 0.07  # around the top-off, so that a person can follow
_LINE_S = 2.5  # to read what was said
_SCREEN_EVERY_S = 0.08


def shown(out: Path, seed: int, *, fast: bool, as_json: bool) -> Path:
    """Play into the folder `out`, and where that is. Raises UsageError when it holds something
    else."""
    folder = _fresh(out)
    logging.getLogger("afterfill").addHandler(logging.NullHandler())  # the screen says it all
    if as_json:
        _play_json(folder, seed)
        return folder
    console = Console()
    verdicts = _play(console, folder, seed, slow=not fast and console.is_terminal)
    _close(console, folder, verdicts)
    return folder


def _fresh(folder: Path) -> Path:
    """An empty folder; one that an earlier demo made is emptied, any other is left alone."""
    if folder.exists() and any(folder.iterdir()):
        if not (folder / ".afterfill-demo").exists():
            raise UsageError(f"{folder} holds something else: give another folder with --out")
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / ".afterfill-demo").touch()
    return folder.resolve()


def _play_json(folder: Path, seed: int) -> None:
    for frame in played(folder, seed):
        for output in frame.found:
            typer.echo(to_line(to_published(output)))


def _play(console: Console, folder: Path, seed: int, *, slow: bool) -> list[str]:
    """Play and show; returns the final verdicts in words."""
    screen, finals = DemoScreen(), []
    frames = _paced(played(folder, seed), slow=slow)
    if not console.is_terminal:
        for frame in frames:
            for line in screen.took(frame):
                console.print(line, markup=False, highlight=False, soft_wrap=True)
            finals += [o for o in frame.found if isinstance(o, Verdict) and o.final]
        return [verdict_text(v).plain for v in finals]
    with Live(console=console, auto_refresh=False) as live:
        shown_s = 0.0
        for frame in frames:
            new = screen.took(frame)
            finals += [o for o in frame.found if isinstance(o, Verdict) and o.final]
            if new or time.monotonic() - shown_s > _SCREEN_EVERY_S:
                live.update(screen.view(*console.size), refresh=True)
                shown_s = time.monotonic()
    return [verdict_text(v).plain for v in finals]


def _paced(frames: Iterator[Frame], *, slow: bool) -> Iterator[Frame]:
    for frame in frames:
        yield frame
        if slow and TOP_OFF_S - 300.0 <= frame.time_s <= TOP_OFF_S + HOUR_S:
            time.sleep(_SLOW_FRAME_S)
        if slow and frame.lines:
            time.sleep(_LINE_S)


def _close(console: Console, folder: Path, verdicts: list[str]) -> None:
    """The summary: verdicts, advice, where things lie, and what to do next."""
    console.print("drawing the picture ...", end="\r")
    picture = _picture(folder)
    console.rule("summary")
    for number, verdict in enumerate(verdicts, start=1):
        console.print(f"refill {number}: {verdict}", markup=False, highlight=False, soft_wrap=True)
    console.print(f"\nwhat to do about a carry-over: {RESIDUAL_OXIDANT.action}", highlight=False)
    console.print(
        "\nWhat the probes cannot see: residuals below the detection floor, ammonia itself, and "
        "nitrite. A drop test (DPD, ammonia) tells more.",
        highlight=False,
    )
    console.print(f"\njournal    {folder / JOURNAL_NAME}", soft_wrap=True, highlight=False)
    console.print(f"picture    {picture}", soft_wrap=True, highlight=False)
    config = folder / CONFIG_NAME
    console.print(
        f"\nNext: `afterfill report --config {config}` is a page about it; `afterfill setup` "
        "begins with your own tank.",
        soft_wrap=True,
        highlight=False,
    )


def _picture(folder: Path) -> str:
    file = folder / "event.png"
    limit = tank_setup(load(folder / CONFIG_NAME), story.TANK).inference.limit_mg_l
    begin_s = story.BEGIN_S + story.TOP_OFF_S
    with Journal.open(folder / JOURNAL_NAME, read_only=True) as journal:
        try:
            draw_event(journal, story.TANK, begin_s - 3600, begin_s + 6 * 3600, limit, file)
        except UsageError as error:
            return f"none: {error}"
    return str(file)
