"""A tank's state from the journal: the last snapshot, and every committed input after it."""

import logging
from collections.abc import Iterator
from dataclasses import dataclass

from afterfill.errors import JournalError
from afterfill.journal.store import Entry, Journal
from afterfill.record_kinds import is_input, words_of
from afterfill.records import ProbeLearnt
from afterfill.tank import TankState, folded
from afterfill.tank_learnt import taken_up
from afterfill.tank_setup import TankSetup
from afterfill.tank_snapshot import from_bytes, probe_learnt_in

_log = logging.getLogger(__name__)
_LASTING_KINDS = words_of(lambda kind: kind.lasting)
_FOLDED_KINDS = words_of(lambda kind: kind.role == "input" or kind.lasting)
_LOOK_BACK_ENTRIES = 20_000  # without a snapshot: about a day of readings is enough to start on


@dataclass(frozen=True, slots=True)
class _Start:
    """A state after entry `seq`; `learnt`: what an unreadable snapshot knew of the probe after
    entry `learnt_seq`."""

    seq: int
    state: TankState
    learnt: ProbeLearnt | None = None
    learnt_seq: int = 0


def restored(journal: Journal, setup: TankSetup) -> tuple[TankState, float]:
    """The state after the last committed input, and the time [s] of that input (0: none).

    What the fold finds on the way was found before and is not found again.
    """
    start = _start(journal, setup)
    state, learnt = start.state, start.learnt
    last_s = state.belief.stepped_s or 0.0
    for entry in _entries(journal, setup.inference.tank, start.seq, None, _FOLDED_KINDS):
        if learnt is not None and entry.seq > start.learnt_seq:
            state, learnt = taken_up(state, learnt), None
        state = _after(setup, state, entry)
        last_s = max(last_s, entry.stamp.time_s, entry.record.time_s)
    return state if learnt is None else taken_up(state, learnt), last_s


def _after(setup: TankSetup, state: TankState, entry: Entry) -> TankState:
    record = entry.record
    if isinstance(record, ProbeLearnt):
        return taken_up(state, record)
    return folded(setup, state, record)[0] if is_input(record) else state


def _start(journal: Journal, setup: TankSetup) -> _Start:
    tank = setup.inference.tank
    before: int | None = None
    learnt: ProbeLearnt | None = None
    learnt_seq = 0
    while (kept := journal.snapshot(tank, before=before)) is not None:
        try:
            return _Start(kept[0], from_bytes(kept[1]))
        except JournalError as error:
            _log.warning("tank %s: %s", tank, error)
            before = kept[0]
        if learnt is None:
            learnt, learnt_seq = probe_learnt_in(kept[1], tank, 0.0), kept[0]
    seq = max(journal.last_seq() - _LOOK_BACK_ENTRIES, 0)
    return _Start(seq, _of_lasting_words(journal, setup, seq), learnt, learnt_seq)


def _of_lasting_words(journal: Journal, setup: TankSetup, until: int) -> TankState:
    """A state without readings that still knows what was said once and holds for long: alarms out
    of service, when a probe was calibrated, and what was learnt of it."""
    state = TankState()
    for entry in _entries(journal, setup.inference.tank, 0, until, _LASTING_KINDS):
        state = _after(setup, state, entry)
    return state


def _entries(
    journal: Journal, tank: str, after: int, until: int | None, kinds: tuple[str, ...]
) -> Iterator[Entry]:
    while entries := journal.entries(after, until=until, kinds=kinds, tank=tank):
        yield from entries
        after = entries[-1].seq
