"""A tank's state from the journal: the last snapshot, and every committed input after it.

Words count as they were corrected: a snapshot that holds a wrong word is passed over, so that the
fold goes back to before that word.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass

from afterfill.errors import JournalError
from afterfill.journal.store import Entry, Journal
from afterfill.journal.words import Corrected, told_of
from afterfill.record_kinds import is_input, words_of
from afterfill.records import Output, ProbeLearnt, Record
from afterfill.tank import TankState, folded
from afterfill.tank_learnt import taken_up
from afterfill.tank_setup import TankSetup
from afterfill.tank_snapshot import from_bytes, probe_learnt_in

_log = logging.getLogger(__name__)
_LASTING_KINDS = words_of(lambda kind: kind.lasting)
FOLDED_KINDS = words_of(lambda kind: kind.role == "input" or kind.lasting)
_LOOK_BACK_ENTRIES = 20_000  # without a snapshot: about a day of readings is enough to start on


@dataclass(frozen=True, slots=True)
class Start:
    """A state after entry `seq`; `learnt`: what an unreadable snapshot knew of the probe after
    entry `learnt_seq`; `whole`: nothing of what was read and said by then is missing."""

    seq: int
    state: TankState
    learnt: ProbeLearnt | None = None
    learnt_seq: int = 0
    whole: bool = True


def restored(journal: Journal, setup: TankSetup) -> tuple[TankState, float]:
    """The state after the last committed input, and the time [s] of that input (0: none).

    What the fold finds on the way was found before and is not found again.
    """
    tank = setup.inference.tank
    corrected = Corrected(told_of(journal, tank))
    start = start_of(journal, setup, corrected)
    state, learnt = start.state, start.learnt
    last_s = state.belief.stepped_s or 0.0
    for entry in _entries(journal, tank, start.seq, None, FOLDED_KINDS):
        if learnt is not None and entry.seq > start.learnt_seq:
            state, learnt = taken_up(state, learnt), None
        state = after(setup, state, corrected.record(entry))[0]
        last_s = max(last_s, entry.stamp.time_s, entry.record.time_s)
    return state if learnt is None else taken_up(state, learnt), last_s


def after(
    setup: TankSetup, state: TankState, record: Record | None
) -> tuple[TankState, list[Output]]:
    """The state after one of FOLDED_KINDS, and what is found; None changes nothing."""
    if isinstance(record, ProbeLearnt):
        return taken_up(state, record), []
    if record is None or not is_input(record):
        return state, []
    return folded(setup, state, record)


def start_of(
    journal: Journal, setup: TankSetup, corrected: Corrected, before: int | None = None
) -> Start:
    """The newest state that can be read and holds no word that was wrong (before entry `before`).
    Where there is none, what lasts and the readings of about a day have to do."""
    tank = setup.inference.tank
    from_seq = journal.last_seq() if before is None else before - 1
    learnt: ProbeLearnt | None = None
    learnt_seq, refused = 0, False
    while (kept := journal.snapshot(tank, before=before)) is not None:
        before = kept[0]
        if corrected.knows_better(kept[0]):
            from_seq = min(from_seq, kept[0])
            continue
        try:
            return Start(kept[0], from_bytes(kept[1]))
        except JournalError as error:
            if not refused:
                _log.warning("tank %s: %s", tank, error)
            refused = True
        if learnt is None:
            learnt, learnt_seq = probe_learnt_in(kept[1], tank, 0.0), kept[0]
    seq = max(from_seq - _LOOK_BACK_ENTRIES, 0)
    state = _of_lasting_words(journal, setup, seq, corrected)
    return Start(seq, state, learnt, learnt_seq, whole=seq == 0 and not journal.dropped_until())


def _of_lasting_words(
    journal: Journal, setup: TankSetup, until: int, corrected: Corrected
) -> TankState:
    """A state without readings that still knows what was said once and holds for long: alarms out
    of service, when a probe was calibrated, and what was learnt of it."""
    state = TankState()
    for entry in _entries(journal, setup.inference.tank, 0, until, _LASTING_KINDS):
        state = after(setup, state, corrected.record(entry))[0]
    return state


def _entries(
    journal: Journal, tank: str, after: int, until: int | None, kinds: tuple[str, ...]
) -> Iterator[Entry]:
    while entries := journal.entries(after, until=until, kinds=kinds, tank=tank):
        yield from entries
        after = entries[-1].seq
