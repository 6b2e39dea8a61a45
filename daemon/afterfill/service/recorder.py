"""Where inputs become records: stamp, journal, fold, journal the findings. One thread only.

Inputs and what they led to go into the journal in one transaction, so that a restart (last
snapshot, then every input after it, findings discarded) ends where this run ended. While the disk
takes nothing, the fold goes on and what it finds waits in memory.
"""

import logging
import sqlite3
import time
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from afterfill.config import Config
from afterfill.errors import JournalDamaged, JournalError
from afterfill.inference.monitor.watch import residual_of
from afterfill.journal.block import BULK
from afterfill.journal.damage import is_damaged
from afterfill.journal.store import Journal
from afterfill.record_kinds import types_of
from afterfill.records import (
    QUANTITIES,
    Correction,
    Health,
    Input,
    Left,
    MachineCondition,
    MachineState,
    Output,
    Reading,
    SourceLearnt,
    Stamp,
    StockLeft,
    Tick,
    known_since_s,
)
from afterfill.service.clock_steps import ClockSteps
from afterfill.service.corrections import NOT_WHOLE, Corrections, last_told
from afterfill.service.damage_told import note_told
from afterfill.service.findings_in_log import FindingsInLog
from afterfill.service.outage import Outage
from afterfill.service.restore import restored
from afterfill.service.rewind import Rewind, told_to_others
from afterfill.service.rhythm import Rhythm, snapshot_every_s
from afterfill.service.timeline import Timeline
from afterfill.tank import TankState, folded
from afterfill.tank_lending import any_lent
from afterfill.tank_setup import TankSetup, tank_setup
from afterfill.tank_snapshot import to_bytes
from afterfill.tank_told_again import taught_again, told_again

_log = logging.getLogger(__name__)
_PROMPT = types_of(lambda kind: kind.prompt)
_WATCH_SNAPSHOT_EVERY_S = 3600.0  # 85 kB instead of 5: spares the card, costs seconds at a restart
_MOST_WAITING = 50_000  # records, some 40 MB: hours of three probes at 1 Hz, days at 10 s
_DAMAGE_BELIEVED = 3  # times in a row that SQLite said so
_CLOSING_TRIES, _CLOSING_PAUSE_S = 8, 0.25
_SILENT_S = 30.0  # without readings, time is told to the tank this often


class Recorder:
    """The core of the service without its thread."""

    def __init__(self, config: Config, journal_path: Path) -> None:
        self._journal = Journal.open(journal_path)
        self._rhythm = Rhythm(config.journal.commit_every_s)
        self._snapshot_every_s = snapshot_every_s(len(config.tank))
        self._setups: dict[str, TankSetup] = {t: tank_setup(config, t) for t in config.tank}
        self._states: dict[str, TankState] = {}
        self._timelines: dict[str, Timeline] = {}
        self._told_s: dict[str, float] = {}
        self._machine: dict[MachineCondition, bool | None] = {}
        self._outage = Outage()
        self._steps = ClockSteps()
        self._snapshot_s: dict[str, float] = {}
        self._log_lines = FindingsInLog()
        self._corrections = Corrections(self._journal, self._setups)
        self.folds = 0  # progress, for the watchdog
        for tank, setup in self._setups.items():
            self._states[tank], last_s = restored(self._journal, setup)
            self._timelines[tank] = Timeline(last_s)

    @property
    def journal(self) -> Journal:
        """The journal, for upkeep in the same thread."""
        return self._journal

    def state(self, tank: str) -> TankState:
        """The tank's state now."""
        return self._states[tank]

    def residual_high_mg_l(self, tank: str) -> float:
        """95 % point of the residual now [mg/L as Cl2]; 0 when no refill is under watch."""
        watching = self._states[tank].belief.watch
        return 0.0 if watching is None else residual_of(watching).q95

    def ahead_s(self, stamp: Stamp) -> float:
        """By how much [s] records are dated ahead of the wall clock at `stamp`; 0 if not."""
        return max((line.ahead_s(stamp) for line in self._timelines.values()), default=0.0)

    # --- what comes in -----------------------------------------------------------------------

    def readings(self, readings: Sequence[Reading], stamp: Stamp) -> list[Output]:
        """Accept what was read at one moment; all of one tank share one time, in the order in
        which a replay will see them."""
        found: list[Output] = []
        for tank in sorted({reading.tank for reading in readings}):
            time_s = self._timelines[tank].at(stamp)
            ours = [replace(r, time_s=time_s) for r in readings if r.tank == tank]
            ours.sort(key=lambda reading: QUANTITIES.index(reading.quantity))
            found += self._accepted(tank, ours, stamp)
        return found

    def inbox(self, stamp: Stamp) -> list[Output]:
        """Take up what people and automations left in the inbox."""
        found: list[Output] = []
        for inbox_id, event, left in self._waiting(stamp):
            tank = event.tank
            if tank not in self._setups:
                _log.warning("a command for tank %s, which is not configured, waits", tank)
                continue
            if isinstance(event, Correction) and not self._changes_nothing(event, inbox_id, stamp):
                found += self._folded_again(event, inbox_id, left, stamp)
                continue
            known = _known_at(event, self._timelines[tank].at(stamp))
            found += self._folded(tank, known, stamp, (inbox_id, left))
            self._commit(stamp)
        return found

    def _changes_nothing(self, correction: Correction, inbox_id: int, stamp: Stamp) -> bool:
        """Whether a correction changes nothing of what was folded; else folding again is begun."""
        if self._corrections.under_way or not self._all_committed(stamp):
            return False
        try:
            return self._corrections.changes_nothing(correction, inbox_id)
        except JournalError as error:
            self._failed(error, stamp)
            return False

    def _all_committed(self, stamp: Stamp) -> bool:
        self._commit(stamp)
        return not self._journal.uncommitted

    def _folded_again(
        self, correction: Correction, inbox_id: int, left: Stamp, stamp: Stamp
    ) -> list[Output]:
        """Go on folding what a correction makes different; at the end that state takes the place of
        the live one, and how things stand now is told where it is not what was told."""
        try:
            if self._corrections.folded(inbox_id) is None or not self._all_committed(stamp):
                return []
            rewind = self._corrections.folded(inbox_id, to_the_end=True)
        except JournalError as error:  # begun again when the disk is well
            self._corrections.done()
            self._failed(error, stamp)
            return []
        if rewind is None:
            return []
        tank = correction.tank
        known = _known_at(correction, self._timelines[tank].at(stamp))
        self._keep(known, stamp, (inbox_id, left))
        found = self._in_its_place(rewind, known_since_s(known), stamp)
        self._corrections.done()
        self._snapshot([correction.tank], stamp)
        return found

    def _in_its_place(self, rewind: Rewind, now_s: float, stamp: Stamp) -> list[Output]:
        tank, before = rewind.tank, dict(self._states)
        self._states[tank] = rewind.states[tank]
        self.folds += 1
        found = told_again(
            self._setups[tank], before[tank], self._states[tank], rewind.found,
            last_told(self._journal, rewind), now_s,
        )  # fmt: skip
        for output in found:
            self._append(output, stamp)
        for name, setup in self._setups.items():
            ours, state = name == tank, rewind.states[name]
            anyway = ours and len(self._setups) > 1
            for taught in taught_again(setup, before[name], state, now_s, anyway=anyway):
                self._folded(name, taught, stamp) if ours else self.heard(taught, stamp)
        if not rewind.whole:
            _log.warning("tank %s: %s", tank, NOT_WHOLE)
            told = Health(stamp.time_s, tank, "correction", True, None, 0, NOT_WHOLE)
            self.health([told], stamp)
        return found

    def _waiting(self, stamp: Stamp) -> list[tuple[int, Left, Stamp]]:
        if not self._outage.may_try(stamp):
            return []
        try:
            return self._journal.inbox()
        except JournalError as error:
            self._failed(error, stamp)
            return []

    def ticks(self, stamp: Stamp) -> list[Output]:
        """Tell time to the tanks that nothing was read on."""
        found: list[Output] = []
        for tank in self._setups:
            if stamp.monotonic_s - self._told_s.get(tank, -_SILENT_S) >= _SILENT_S:
                tick = Tick(self._timelines[tank].at(stamp), tank)
                found += self._accepted(tank, [tick], stamp)
        return found

    def machine(self, states: Iterable[MachineState], stamp: Stamp) -> list[Output]:
        """Accept how the machine is: what has changed since it was last told in this run."""
        found: list[Output] = []
        for state in states:
            if self._machine.get(state.name, "never") == state.holds:
                continue
            self._machine[state.name] = state.holds
            known = replace(state, time_s=self._timelines[state.tank].at(stamp))
            found += self._folded(state.tank, known, stamp)
            self._commit(stamp)
            if state.name == "journal-damaged" and not state.holds:  # by now the alarm is out
                note_told(self._journal, state.detail)
        return found

    def heard(self, learnt: SourceLearnt | StockLeft, stamp: Stamp) -> None:
        """Accept what another tank knows of a source or a neutraliser that this one uses too."""
        now_s = self._timelines[learnt.tank].at(stamp)
        self._folded(learnt.tank, replace(learnt, time_s=now_s), stamp)

    def health(self, records: Iterable[Health], stamp: Stamp) -> None:
        """Keep how probes and sinks are doing."""
        for record in records:
            self._journal.append(record, stamp)
            self._rhythm.pending(stamp)

    def clock(self, stamp: Stamp) -> None:
        """Tell when the wall clock was set, and when records turn out to be dated ahead of it."""
        first = next(iter(self._setups))
        self.health(self._steps.look(stamp, first, self.ahead_s(stamp)), stamp)

    def _accepted(self, tank: str, inputs: Sequence[Input], stamp: Stamp) -> list[Output]:
        self._told_s[tank] = stamp.monotonic_s
        found: list[Output] = []
        for record in inputs:
            found += self._folded(tank, record, stamp)
        self._rhythm.pending(stamp)
        if any(isinstance(output, _PROMPT) for output in found):
            self._commit(stamp)
        return found

    def _folded(
        self, tank: str, record: Input, stamp: Stamp, waited: tuple[int, Stamp] | None = None
    ) -> list[Output]:
        """Fold first, keep then: what memory did not suffice for stays where it came from."""
        state, found = folded(self._setups[tank], self._states[tank], record)
        self._keep(record, stamp, waited)
        self._tell_failure(tank, state, stamp)
        self._states[tank] = state
        self.folds += 1
        for output in found:
            self._append(output, stamp)
            for _, told in told_to_others(self._setups, self._states, output):
                self.heard(told, stamp)
        return found

    def _append(self, output: Output, stamp: Stamp) -> None:
        self._journal.append(output, stamp)
        self._log_lines.tell(output)

    def _tell_failure(self, tank: str, now: TankState, stamp: Stamp) -> None:
        """Say that the inference of one tank failed; the others go on."""
        if now.failures == self._states[tank].failures:
            return
        said = f"the inference failed on a record ({now.failure}); the tank counts as unseen"
        _log.error("tank %s: %s", tank, said)
        self.health(
            [Health(stamp.time_s, tank, "inference", False, None, now.failures, said)], stamp
        )

    def _keep(self, record: Input, stamp: Stamp, waited: tuple[int, Stamp] | None) -> None:
        if waited is None:
            self._journal.append(record, stamp)
        else:
            inbox_id, left = waited
            self._journal.take(inbox_id, record, left)

    # --- the disk ----------------------------------------------------------------------------

    def save(self, stamp: Stamp) -> None:
        """Commit when it is due, with a snapshot now and then, and say how the disk does."""
        self._tell_outage(stamp)
        if self._journal.uncommitted > _MOST_WAITING:
            self._shed(stamp)
        self._snapshot([t for t in self._states if self._snapshot_due(t, stamp)], stamp)
        watched = any(state.belief.watch is not None for state in self._states.values())
        lent = any(any_lent(state) for state in self._states.values())
        if self._rhythm.flush_due(stamp):
            self._commit(stamp)
        elif self._rhythm.commit_due(stamp, watched=watched, lent=lent):
            self._commit(stamp, flush=False)

    def disk(self, stamp: Stamp) -> MachineState:
        """Whether the disk refuses what is to be recorded."""
        tank, outage = next(iter(self._setups)), self._outage
        return MachineState(stamp.time_s, tank, "journal-failing", outage.holds, outage.detail)

    def close(self, stamp: Stamp) -> None:
        """Commit everything with a last snapshot and let go of the journal."""
        try:
            self._snapshot(list(self._states), stamp)
            for _ in range(_CLOSING_TRIES):
                if self._outage.since is None:
                    break
                time.sleep(_CLOSING_PAUSE_S)
                self._write(stamp)
            if self._outage.since is not None:
                waiting = self._journal.uncommitted
                _log.error("%d records could not be written and are lost", waiting)
        finally:
            self._journal.close()

    def abandon(self) -> None:
        """Let go of the journal as a kill would: what is not committed is not written."""
        self._journal.abandon()

    def _commit(self, stamp: Stamp, *, flush: bool = True) -> None:
        if self._outage.may_try(stamp):
            self._write(stamp, flush=flush)
        else:
            self._rhythm.pending(stamp)

    def _write(self, stamp: Stamp, *, flush: bool = True) -> None:
        """Write what is pending. What the disk refuses stays pending."""
        try:
            self._journal.commit(flush=flush)
            if self._outage.since is not None:
                self._journal.inbox(1)  # with nothing to write, that it can be read is the proof
        except JournalError as error:
            self._failed(error, stamp)
            self._rhythm.pending(stamp)
        else:
            self._outage.worked(stamp)
            self._rhythm.committed(flush=flush)

    def _failed(self, error: JournalError, stamp: Stamp) -> None:
        """Raises `error` again unless the disk may take the same another time. SQLite takes one
        page that could not be read for damage (seen with 3.40: EIO within an INSERT)."""
        if isinstance(error, JournalDamaged):
            if self._outage.failures >= _DAMAGE_BELIEVED or is_damaged(self._journal.path):
                raise error
        elif not isinstance(error.__cause__, sqlite3.OperationalError | OSError):
            raise error
        self._outage.failed(str(error), stamp)

    def _tell_outage(self, stamp: Stamp) -> None:
        if self._outage.since is not None and self._outage.may_try(stamp):
            self._write(stamp)
        if self._outage.holds != self._machine.get("journal-failing", False):
            self.machine([self.disk(stamp)], stamp)

    def _shed(self, stamp: Stamp) -> None:
        """Memory is bounded: drop readings and estimates, keep what matters. A snapshot stands for
        what was folded of them, so that a restart does not miss them."""
        dropped = self._journal.shed(BULK)  # readings and estimates first
        self._snapshot(list(self._states), stamp)
        said = f"{dropped} readings and estimates were dropped: the disk takes nothing"
        _log.error("%s", said)
        first = next(iter(self._setups))  # its number is the last: none is given twice
        self.health([Health(stamp.time_s, first, "journal", False, None, dropped, said)], stamp)

    def _snapshot_due(self, tank: str, stamp: Stamp) -> bool:
        watched = self._states[tank].belief.watch is not None
        every_s = _WATCH_SNAPSHOT_EVERY_S if watched else self._snapshot_every_s
        since_s = self._snapshot_s.setdefault(tank, stamp.monotonic_s)
        return stamp.monotonic_s - since_s >= every_s

    def _snapshot(self, tanks: Sequence[str], stamp: Stamp) -> None:
        """The records up to a snapshot and the snapshot itself: one transaction."""
        if not tanks:
            return
        last = self._journal.last_appended()
        for tank in tanks:
            self._journal.save_snapshot(tank, last, to_bytes(self._states[tank]))
            self._snapshot_s[tank] = stamp.monotonic_s
        self._commit(stamp)


def _known_at(event: Left, time_s: float) -> Left:
    """The event with the time at which we learnt of it; none lies in the future."""
    if isinstance(event, SourceLearnt):
        return replace(event, time_s=time_s)
    happened_s = min(round(event.time_s * 1000) / 1000, time_s)
    return replace(event, time_s=happened_s, logged_s=None if happened_s == time_s else time_s)
