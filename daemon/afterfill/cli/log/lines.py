"""What was told of a tank, the newest first, by the numbers under which it can be corrected."""

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import nlargest
from typing import Any

from afterfill.cli.log.said_back import event_words
from afterfill.cli.times import moment
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.journal.words import WORD_KINDS, told_of
from afterfill.payloads import CORRECTION
from afterfill.plausible import unit_of
from afterfill.records import WORDS, Correction, Word
from afterfill.tank_table import shown_in
from afterfill.told import Told
from afterfill.wire import rfc3339, to_wire


@dataclass(frozen=True, slots=True)
class Line:
    """One word: its `number` (None: it waits for the service), what it says, and what became of it;
    `fate` is empty as long as it holds."""

    number: int | None
    event: Word | Correction
    said: str
    fate: str

    def cells(self, now_s: float) -> tuple[str, ...]:
        """As a row of a table."""
        number = "waits" if self.number is None else str(self.number)
        return number, moment(self.event.time_s, now_s), self.said, self.fate

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        return {
            "kind": "word", "number": self.number, "time": rfc3339(self.event.time_s),
            "tank": self.event.tank, "said": self.said, "holds": not self.fate,
            "fate": self.fate or None, "word": to_wire(self.event),
        }  # fmt: skip


def lines_of(journal: Journal, config: Config, tank: str, limit: int) -> list[Line]:
    """The newest `limit` words of `tank`, the newest first."""
    kinds = (*WORD_KINDS, CORRECTION)
    entries = [entry for kind in kinds for entry in journal.latest(kind, tank, limit)]
    entries = nlargest(limit, entries, key=lambda entry: entry.seq)
    told = told_of(journal, tank, *(e.seq for e in entries if isinstance(e.record, WORDS)))
    words = [*_waiting(journal, tank), *((e.seq, e.record) for e in entries)]
    unit, shown = unit_of(config, tank), shown_in(config.units)
    return [
        Line(number, word, event_words(word, unit, shown), _fate(told, number))
        for number, word in words[:limit]
        if isinstance(word, (*WORDS, Correction))
    ]


def _waiting(journal: Journal, tank: str) -> Iterator[tuple[None, Word | Correction]]:
    """What the service has not taken up yet, the newest first."""
    for _, event, _ in reversed(journal.inbox()):
        if event.tank == tank and isinstance(event, (*WORDS, Correction)):
            yield None, event


def _fate(told: Told, number: int | None) -> str:
    return "waits for the service" if number is None else told.fate(number)
