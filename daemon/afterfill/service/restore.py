"""A tank's state from the journal: the last snapshot, and every committed input after it."""

import logging
from collections.abc import Iterator

from afterfill.errors import JournalError
from afterfill.journal.store import Entry, Journal
from afterfill.records import EVENTS, Reading, Tick
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup
from afterfill.tank_snapshot import from_bytes

_log = logging.getLogger(__name__)
INPUT_KINDS = ("reading", "tick", "refill", "kit", "dose", "service", "alarm-command")
_LOOK_BACK_ENTRIES = 20_000  # without a snapshot: about a day of readings is enough to start on


def restored(journal: Journal, setup: TankSetup) -> tuple[TankState, float]:
    """The state after the last committed input, and the time [s] of that input (0: none).

    What the fold finds on the way was found before and is not found again.
    """
    tank = setup.inference.tank
    after, state = _last_snapshot(journal, tank)
    last_s = state.belief.stepped_s or 0.0
    for entry in _inputs_after(journal, tank, after):
        if isinstance(entry.record, (Reading, Tick, *EVENTS)):
            state, _ = folded(setup, state, entry.record)
            last_s = max(last_s, entry.stamp.time_s, entry.record.time_s)
    return state, last_s


def _last_snapshot(journal: Journal, tank: str) -> tuple[int, TankState]:
    before: int | None = None
    while (kept := journal.snapshot(tank, before=before)) is not None:
        try:
            return kept[0], from_bytes(kept[1])
        except JournalError as error:
            _log.warning("tank %s: %s", tank, error)
            before = kept[0]
    return max(journal.last_seq() - _LOOK_BACK_ENTRIES, 0), TankState()


def _inputs_after(journal: Journal, tank: str, after: int) -> Iterator[Entry]:
    while entries := journal.entries(after, kinds=INPUT_KINDS, tank=tank):
        yield from entries
        after = entries[-1].seq
