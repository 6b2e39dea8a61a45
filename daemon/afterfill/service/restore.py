"""A tank's state from the journal: the last snapshot, and every committed input after it."""

import logging
from collections.abc import Iterator

from afterfill.errors import JournalError
from afterfill.journal.store import Entry, Journal
from afterfill.record_kinds import is_input, words_of
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup
from afterfill.tank_snapshot import from_bytes

_log = logging.getLogger(__name__)
_LASTING_KINDS = words_of(lambda kind: kind.lasting)
INPUT_KINDS = words_of(lambda kind: kind.role == "input")
_LOOK_BACK_ENTRIES = 20_000  # without a snapshot: about a day of readings is enough to start on


def restored(journal: Journal, setup: TankSetup) -> tuple[TankState, float]:
    """The state after the last committed input, and the time [s] of that input (0: none).

    What the fold finds on the way was found before and is not found again.
    """
    tank = setup.inference.tank
    after, state = _last_snapshot(journal, setup)
    last_s = state.belief.stepped_s or 0.0
    for entry in _inputs(journal, tank, after, None, INPUT_KINDS):
        if is_input(entry.record):
            state, _ = folded(setup, state, entry.record)
            last_s = max(last_s, entry.stamp.time_s, entry.record.time_s)
    return state, last_s


def _last_snapshot(journal: Journal, setup: TankSetup) -> tuple[int, TankState]:
    tank = setup.inference.tank
    before: int | None = None
    while (kept := journal.snapshot(tank, before=before)) is not None:
        try:
            return kept[0], from_bytes(kept[1])
        except JournalError as error:
            _log.warning("tank %s: %s", tank, error)
            before = kept[0]
    after = max(journal.last_seq() - _LOOK_BACK_ENTRIES, 0)
    return after, _of_lasting_words(journal, setup, after)


def _of_lasting_words(journal: Journal, setup: TankSetup, until: int) -> TankState:
    """A state without readings that still knows what was said once and holds for long: alarms
    out of service, and when a probe was calibrated."""
    state = TankState()
    for entry in _inputs(journal, setup.inference.tank, 0, until, _LASTING_KINDS):
        if is_input(entry.record):
            state, _ = folded(setup, state, entry.record)
    return state


def _inputs(
    journal: Journal, tank: str, after: int, until: int | None, kinds: tuple[str, ...]
) -> Iterator[Entry]:
    while entries := journal.entries(after, until=until, kinds=kinds, tank=tank):
        yield from entries
        after = entries[-1].seq
