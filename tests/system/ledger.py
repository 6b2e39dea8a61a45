"""What a fault has lost or doubled: what was acknowledged, and what an undisturbed run finds."""

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.records import EVENTS, AlarmChange, Dose, MachineState, Reading, Tick
from afterfill.tank import TankState, folded
from afterfill.tank_setup import tank_setup

_INPUTS = (Reading, Tick, MachineState, *EVENTS)


class Balance(NamedTuple):
    """How many were lost and doubled, of how many."""

    lost: int
    doubled: int
    of: int

    def __add__(self, other: object) -> "Balance":
        assert isinstance(other, Balance)
        return Balance(self.lost + other.lost, self.doubled + other.doubled, self.of + other.of)


def of_doses(journal_path: Path, acknowledged: Iterable[float]) -> Balance:
    """Each acknowledged dose [mL] against the journal; what waits in the inbox is not lost."""
    with Journal.open(journal_path) as journal:
        kept = [e.record for e in journal.entries(kinds=("dose",), limit=10**7)]
        kept += [event for _, event, _ in journal.inbox(limit=10**6)]
    return compared(acknowledged, (d.neutraliser_ml for d in kept if isinstance(d, Dose)))


def compared(expected: Iterable[object], found: Iterable[object]) -> Balance:
    """Each of `expected` must be among `found`, and nothing of `found` twice."""
    wanted, got = set(expected), Counter(found)
    return Balance(len(wanted - set(got)), sum(got.values()) - len(got), len(wanted))


def of_alarms(journal_path: Path, config_path: Path) -> Balance:
    """The journal's alarms against those that one undisturbed fold of its inputs finds."""
    setup = tank_setup(load(config_path), "t")
    with Journal.open(journal_path, read_only=True) as journal:
        records = [entry.record for entry in journal.entries(limit=10**7)]
    state, found = TankState(), Counter[AlarmChange]()
    for record in records:
        if isinstance(record, _INPUTS):
            state, outputs = folded(setup, state, record)
            found.update(o for o in outputs if isinstance(o, AlarmChange))
    kept = Counter(r for r in records if isinstance(r, AlarmChange))
    return Balance((found - kept).total(), (kept - found).total(), found.total())
