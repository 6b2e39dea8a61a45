"""A word is taken back: the fold goes back to before it, and on again without it.

A little at a time, from what is committed, beside the live state, which goes on meanwhile as it
was; when all is folded again, that state takes the live one's place. Tanks teach each other of
their tap and their bottle, so all are folded again together, in the order of the journal: what one
told the others while a wrong word was believed is found again, not read.
"""

import time
from collections.abc import Iterator, Mapping
from dataclasses import replace

from afterfill.journal.entry import Entry
from afterfill.journal.store import Journal
from afterfill.journal.words import Corrected
from afterfill.records import ForecastCheck, Output, RefillSeen, SourceLearnt, StockLeft, Verdict
from afterfill.service.restore import FOLDED_KINDS, after, start_of
from afterfill.tank import TankState
from afterfill.tank_bottle import shared
from afterfill.tank_learnt import taken_up
from afterfill.tank_setup import TankSetup
from afterfill.told import Told

_AT_ONCE = 64  # entries read from the journal
_TOLD_AGAIN = (Verdict, RefillSeen, ForecastCheck)


class Rewind:
    """From before entry `word` of `tank` on. One thread only."""

    def __init__(
        self,
        journal: Journal,
        setups: Mapping[str, TankSetup],
        tank: str,
        word: int,
        told: Mapping[str, Told],
    ) -> None:
        """`told`: of every tank of `setups`, with the correction that is to be made."""
        spans = [span for each in told.values() for span in each.spans]
        self.tank, self.word = tank, word
        self._journal, self._setups = journal, setups
        self._corrected = {name: Corrected(told[name], spans) for name in setups}
        self._starts = {
            name: start_of(journal, setup, self._corrected[name], word)
            for name, setup in setups.items()
        }
        self._learnt = {n: (it.learnt_seq, it.learnt) for n, it in self._starts.items()}
        self.states: dict[str, TankState] = {n: it.state for n, it in self._starts.items()}
        self.whole = self._starts[tank].whole
        self._position = min(start.seq for start in self._starts.values())
        self.found: list[Output] = []  # of `tank`, since `word`

    @property
    def corrected(self) -> Corrected:
        """What the entries of the tank mean, with the correction."""
        return self._corrected[self.tank]

    def go_on(self, seconds: float | None = None) -> bool:
        """Fold what is committed, for at most `seconds` [s]; whether all of it is folded."""
        begun_s = time.monotonic()
        while entries := self._next():
            for entry in entries:
                self._fold(entry)
                self._position = entry.seq
                if seconds is not None and time.monotonic() - begun_s >= seconds:
                    return False
        return True

    def _next(self) -> list[Entry]:
        tank = self.tank if len(self._setups) == 1 else None
        return self._journal.entries(self._position, kinds=FOLDED_KINDS, tank=tank, limit=_AT_ONCE)

    def _fold(self, entry: Entry) -> None:
        tank = entry.record.tank
        start = self._starts.get(tank)
        if start is None or entry.seq <= start.seq:
            return
        learnt_seq, learnt = self._learnt[tank]
        if learnt is not None and entry.seq > learnt_seq:
            self.states[tank] = taken_up(self.states[tank], learnt)
            self._learnt[tank] = learnt_seq, None
        record = self._corrected[tank].record(entry)
        state, found = after(self._setups[tank], self.states[tank], record)
        self.states[tank] = state
        self._note(tank, entry.seq, found)

    def _note(self, tank: str, number: int, found: list[Output]) -> None:
        for output in found:
            if tank == self.tank and number >= self.word and isinstance(output, _TOLD_AGAIN):
                self.found.append(output)
            if not self._corrected[tank].knows_better(number):
                continue  # what the others heard of it is in the journal
            for other, told in told_to_others(self._setups, self.states, output):
                if number > self._starts[other].seq:
                    state, more = after(self._setups[other], self.states[other], told)
                    self.states[other] = state
                    self._note(other, number, more)


def told_to_others(
    setups: Mapping[str, TankSetup], states: Mapping[str, TankState], output: Output
) -> Iterator[tuple[str, SourceLearnt | StockLeft]]:
    """What the other tanks hear of what one has found: they have one tap and one bottle. Their own
    times are for the caller to give."""
    for tank, setup in setups.items():
        if tank == output.tank:
            continue
        if isinstance(output, SourceLearnt) and output.source in setup.waters:
            yield tank, replace(output, tank=tank)
        elif isinstance(output, StockLeft) and _bottle_of(setup) == output.neutraliser:
            yield tank, shared(output, states[tank].stock, tank)


def _bottle_of(setup: TankSetup) -> str | None:
    return None if setup.bottle is None else setup.bottle.name
