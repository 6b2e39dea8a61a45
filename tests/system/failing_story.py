"""A short life of the journal: commands, readings, an alarm, a stop; each step may fail."""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TypeVar

from afterfill.config import Config
from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, Dose, MachineState, Reading, Stamp
from afterfill.service.recorder import Recorder
from system.ledger import Balance, compared, of_alarms, of_doses

_BEGIN_S = 1_772_350_200.0
_TRIES = 5
_FILE = '[tank.t]\nlitres = 100\n[journal]\npath = "j.db"\ncommit_every_s = 15\n'
_CONFIG = Config.model_validate({"tank": {"t": {"litres": 100}}, "journal": {"commit_every_s": 15}})
_T = TypeVar("_T")


@dataclass
class Done:
    """What came of one story."""

    folder: Path
    acknowledged: list[float] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


def acted(folder: Path) -> Done:
    """Act it out, each step tried again as people and the supervision would."""
    folder.mkdir(parents=True)
    (folder / "afterfill.toml").write_text(_FILE)
    done, path = Done(folder), folder / "j.db"
    with _listening(done.told):
        recorder = _again(lambda: Recorder(_CONFIG, path), done.told)
        for number in range(8):
            at = _stamp(20.0 * number)
            if number % 2:
                _again(partial(_submitted, path, float(number), at), done.told)
                done.acknowledged.append(float(number))
            try:
                _turn(recorder, number, at)
            except JournalError as error:  # the supervision lets the core begin again
                done.told.append(str(error))
                with suppress(JournalError):
                    recorder.close(at)
                recorder = _again(lambda: Recorder(_CONFIG, path), done.told)
        _again(lambda: recorder.close(_stamp(200.0)), done.told)
    return done


def _turn(recorder: Recorder, number: int, at: Stamp) -> None:
    recorder.inbox(at)
    recorder.readings([Reading(at.time_s, "t", "orp", 300.0 + number, "orp")], at)
    recorder.machine([MachineState(at.time_s, "t", "power-low", number > 3, "told")], at)
    recorder.save(at)


def balance(done: Done) -> Balance:
    """Its commands and alarms, after the disk is well again."""
    path = done.folder / "j.db"
    found = of_doses(path, done.acknowledged) + of_alarms(path, done.folder / "afterfill.toml")
    with Journal.open(path, read_only=True) as journal:
        changes = [e.record for e in journal.entries(kinds=("alarm",), limit=10_000)]
    raised = [c.alarm for c in changes if isinstance(c, AlarmChange) and c.active]
    return found + compared(["power-low"], (alarm for alarm in raised if alarm == "power-low"))


def _stamp(seconds: float) -> Stamp:
    return Stamp(_BEGIN_S + seconds, True, "boot", 100.0 + seconds)


def _submitted(path: Path, ml: float, at: Stamp) -> None:
    with Journal.open(path) as journal:
        journal.submit(Dose(at.time_s, "t", ml), at)


def _again(step: Callable[[], _T], told: list[str]) -> _T:
    for _ in range(_TRIES - 1):
        try:
            return step()
        except JournalError as error:
            told.append(str(error))
    return step()


class _Listener(logging.Handler):
    def __init__(self, told: list[str]) -> None:
        super().__init__(logging.ERROR)
        self._told = told

    def emit(self, record: logging.LogRecord) -> None:
        self._told.append(record.getMessage())


@contextmanager
def _listening(told: list[str]) -> Iterator[None]:
    """What the log says as an error is told too."""
    handler = _Listener(told)
    log = logging.getLogger("afterfill")
    log.addHandler(handler)
    try:
        yield
    finally:
        log.removeHandler(handler)
