"""Points that the database refused, with its reasons; kept in the journal across restarts."""

import json
from collections.abc import Mapping

from afterfill.journal.store import Journal

_KEY = "influxdb-refused"
_KEEP = 200  # the newest; the others are counted only


class Quarantine:
    """Points by the number of their journal entry: one refused again is not counted again."""

    def __init__(self, journal: Journal) -> None:
        """Reads what earlier runs set aside. Raises JournalError."""
        self._journal = journal
        kept = json.loads(journal.meta(_KEY) or '{"count": 0, "points": {}}')
        self.count = int(kept["count"])
        self._points: dict[str, list[str]] = kept["points"]  # {entry number: [line, reason]}

    def add(self, refused: Mapping[int, tuple[str, str]]) -> int:
        """Keep {entry number: (line, reason)}; on the disk at the end. Returns how many are new."""
        named = {str(seq): list(pair) for seq, pair in refused.items()}
        new = {seq: pair for seq, pair in named.items() if seq not in self._points}
        if new:
            self.count += len(new)
            self._points = dict(list({**self._points, **new}.items())[-_KEEP:])
            self._journal.set_meta(
                _KEY, json.dumps({"count": self.count, "points": self._points}, ensure_ascii=False)
            )
        return len(new)

    def sentence(self) -> str:
        """How many there are, and the last one with its reason; empty when there is none."""
        if not self._points:
            return ""
        line, reason = list(self._points.values())[-1]
        noun = "point was" if self.count == 1 else "points were"
        return (
            f"{self.count} {noun} refused by the database and set aside, the others went on; "
            f"the last: {line} ({reason})"
        )
