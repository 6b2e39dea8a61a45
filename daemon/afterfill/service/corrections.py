"""The corrections that wait in the inbox, folded one at a time beside the live state."""

import logging
from collections.abc import Mapping

from afterfill.journal.store import Journal
from afterfill.journal.words import told_of
from afterfill.records import Correction, Output, RefillSeen, Verdict
from afterfill.service.rewind import Rewind
from afterfill.tank_setup import TankSetup

_log = logging.getLogger(__name__)
NOT_WHOLE = (
    "what was read and learnt before the corrected word is not kept in full, so what that word had "
    "changed of it could be undone in part only"
)
_SLICE_S = 0.2  # of each turn of the core: readings and alarms wait no longer for it


class Corrections:
    """One thread only: the core's. A kill loses nothing, since a correction stays in the inbox
    until all is folded again."""

    def __init__(self, journal: Journal, setups: Mapping[str, TankSetup]) -> None:
        self._journal, self._setups = journal, setups
        self._inbox_id: int | None = None
        self._rewind: Rewind | None = None

    @property
    def under_way(self) -> bool:
        """Whether one is being folded."""
        return self._rewind is not None

    def changes_nothing(self, correction: Correction, inbox_id: int) -> bool:
        """Whether there is nothing to fold again; else that is begun. All that was accepted must be
        committed, and none may be under way."""
        tank = correction.tank
        told = {t: told_of(self._journal, t, *_named(correction, t)) for t in self._setups}
        ours = told[tank]
        refusal, spans = ours.refusal(correction.of), len(ours.spans)
        if refusal is not None:
            _log.warning("tank %s: a correction has no effect: %s", tank, refusal)
            return True
        ours.add(correction)
        if len(ours.spans) == spans:  # a note, from which nothing was concluded
            return True
        word = ours.word_of(correction.of)
        _log.info("tank %s: entry %d is corrected; folding again from there", tank, word)
        self._rewind = Rewind(self._journal, self._setups, tank, word, told)
        self._inbox_id = inbox_id
        return False

    def folded(self, inbox_id: int, *, to_the_end: bool = False) -> Rewind | None:
        """Fold on, a little or `to_the_end`; what was folded, when that is all that is committed
        and it was for this correction."""
        if self._rewind is None or self._inbox_id != inbox_id:
            return None
        return self._rewind if self._rewind.go_on(None if to_the_end else _SLICE_S) else None

    def done(self) -> None:
        """The correction that was folded is taken up."""
        self._rewind = self._inbox_id = None


def last_told(journal: Journal, rewind: Rewind) -> list[Output]:
    """The newest refill and verdict that were told of the tank, and of a refill that there was."""
    entries = [e for kind in ("refill-seen", "verdict") for e in journal.latest(kind, rewind.tank)]
    told = (rewind.corrected.record(entry) for entry in entries)
    return [record for record in told if isinstance(record, RefillSeen | Verdict)]


def _named(correction: Correction, tank: str) -> tuple[int, ...]:
    return (correction.of,) if tank == correction.tank else ()
