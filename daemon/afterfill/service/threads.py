"""The bodies of the service's own threads: sampling loops and the core."""

import logging
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from afterfill.errors import JournalDamaged, JournalError
from afterfill.ports import Clock
from afterfill.records import Health, MachineState, Reading, Stamp
from afterfill.service.recorder import Recorder
from afterfill.service.sampler import Sampler

_log = logging.getLogger(__name__)
_INBOX_EVERY_S = 0.25
_HEALTH_EVERY_S = 60.0


@dataclass(frozen=True, slots=True)
class Batch:
    """What one exchange with a port gave, and when."""

    stamp: Stamp
    readings: Sequence[Reading]


@dataclass(frozen=True, slots=True)
class Chore:
    """Upkeep of the journal, done by the thread that owns it."""

    do: Callable[[Recorder, Stamp], None]


Work = queue.SimpleQueue[Batch | Chore]


class Turns:
    """How many turns the core has made: its progress, for the watchdog. Any thread may read."""

    def __init__(self) -> None:
        self.made = 0

    def another(self) -> None:
        """The core has made one more."""
        self.made += 1


def sample_for_ever(sampler: Sampler, clock: Clock, work: Work, stop: threading.Event) -> None:
    """Read what is due and hand it to the core until `stop` is set."""
    try:
        while not stop.is_set():
            wait_s = sampler.next_due_s() - clock.monotonic_s()
            if wait_s > 0.0:
                clock.wait(wait_s)
                continue
            readings = sampler.read_due(clock.stamp())
            work.put(Batch(clock.stamp(), readings))  # when the answers came
    finally:
        sampler.close()


def fold_for_ever(
    recorder: Recorder,
    clock: Clock,
    work: Work,
    health: Callable[[Stamp], Sequence[Health]],
    machine: Callable[[Stamp, float], Sequence[MachineState]],
    turns: Turns,
    stop: threading.Event,
) -> None:
    """Record and fold what comes until `stop` is set; then save everything."""
    next_health_s = clock.monotonic_s() + _HEALTH_EVERY_S
    next_machine_s = clock.monotonic_s()  # at once: a restart tells how the machine is
    try:
        while not stop.is_set():
            _take(recorder, clock, work)
            stamp = clock.stamp()
            recorder.clock(stamp)
            recorder.inbox(stamp)
            if stamp.monotonic_s >= next_machine_s:
                states = machine(stamp, recorder.ahead_s(stamp))
                recorder.machine([*states, recorder.disk(stamp)], stamp)
                next_machine_s = stamp.monotonic_s + _HEALTH_EVERY_S
            recorder.ticks(stamp)
            if stamp.monotonic_s >= next_health_s:
                recorder.health(health(stamp), stamp)
                next_health_s = stamp.monotonic_s + _HEALTH_EVERY_S
            recorder.save(stamp)
            turns.another()
        while not work.empty():
            _take(recorder, clock, work)
    except MemoryError:  # what is pending may be half a turn: begin again from what is written
        recorder.abandon()
        raise
    except BaseException:
        recorder.close(clock.stamp())
        raise
    recorder.close(clock.stamp())


def _take(recorder: Recorder, clock: Clock, work: Work) -> None:
    try:
        item = work.get(timeout=_INBOX_EVERY_S)
    except queue.Empty:
        return
    if isinstance(item, Batch):
        recorder.readings(item.readings, item.stamp)
        return
    try:
        item.do(recorder, clock.stamp())
    except JournalDamaged:
        raise
    except JournalError as error:  # upkeep comes again; what it left pending is written later
        _log.warning("upkeep was not done: %s", error)
