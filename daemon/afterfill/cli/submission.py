"""Hands what a person said to the service, through the journal's inbox."""

from pathlib import Path

from afterfill.cli.console import say, say_json
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import Event
from afterfill.service.liveness import liveness
from afterfill.wire import to_wire


def submitted(
    config: Config, journal_path: Path, event: Event, words: str, *, as_json: bool
) -> None:
    """Leave `event` in the inbox, on the disk when this returns, and answer with `words`.

    Raises JournalError when the journal cannot be written.
    """
    live = liveness(journal_path)
    with Journal.open(journal_path) as journal:
        journal.submit(event, live.now)
    running = live.runs is not False
    if as_json:
        say_json({**to_wire(event), "service_running": running})
    else:
        say(words)
        if not running:
            say("It will be taken up when the service runs.")
