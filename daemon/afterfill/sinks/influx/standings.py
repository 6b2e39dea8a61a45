"""How a tank stood when something was written: the newest word that came before it."""

from afterfill.journal.store import Entry, Journal
from afterfill.records import Standing

_FIRST = 8  # words change seldom


class Standings:
    """Looks up, for entries that are committed already; what was read is kept."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._read: dict[str, tuple[int, list[Entry]]] = {}  # by tank: how many were asked for

    def at(self, tank: str, seq: int) -> Standing | None:
        """How `tank` stood when the entry `seq` was written; None when nothing was said yet."""
        count, entries = self._read.get(tank, (0, []))
        while True:
            for entry in entries:
                if entry.seq < seq and isinstance(entry.record, Standing):
                    return entry.record
            if len(entries) < count:
                return None
            count = 8 * count or _FIRST
            entries = self._journal.latest("standing", tank, count)
            self._read[tank] = count, entries
