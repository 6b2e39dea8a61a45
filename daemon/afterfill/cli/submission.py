"""Hands what a person said to the service, through the journal's inbox."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from afterfill.journal.store import Journal
from afterfill.records import Event
from afterfill.service.liveness import liveness
from afterfill.wire import to_wire


@dataclass(frozen=True, slots=True)
class Submitted:
    """An event in the inbox under `number`, and whether the service runs."""

    event: Event
    number: int
    running: bool

    def words(self, understood: str) -> Iterator[str]:
        """What was understood, so that a slip is seen at once."""
        yield understood
        if not self.running:
            yield "It will be taken up when the service runs."

    def wire(self) -> dict[str, Any]:
        """The event as it is written down."""
        return {**to_wire(self.event), "service_running": self.running}


def submitted(journal_path: Path, event: Event) -> Submitted:
    """Leave `event` in the inbox, on the disk when this returns.

    Raises JournalError when the journal cannot be written.
    """
    live = liveness(journal_path)
    with Journal.open(journal_path) as journal:
        number = journal.submit(event, live.now)
    return Submitted(event, number, live.runs is not False)
