"""A recorder that is fed as the service feeds it, with words that are corrected later."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.records import (
    WORDS,
    Correction,
    Event,
    Input,
    Output,
    Reading,
    Stamp,
    Word,
)
from afterfill.service.recorder import Recorder
from afterfill.tank_snapshot import to_bytes
from tank_stories import HOUR_S, ZERO_S, config_of, pour, raw, refill, story

AT_S = ZERO_S + 2 * HOUR_S - 7.0  # between two readings
RIGHT = refill(1, litres=25.0, minutes=10.0, neutraliser_ml=0.0)
WRONG = replace(RIGHT, neutraliser_ml=25.0)


def three_hours() -> list[Input]:
    """The readings of a tank into which raw water is poured after one of them."""
    return story(3, [pour(1, 0.25, raw("chloramine", 2.0))])


def opened(path: Path) -> Recorder:
    return Recorder(config_of(), path)


def a_restart_finds_the_same(recorder: Recorder, path: Path) -> bool:
    """Whether what is believed after a kill is what was believed before it."""
    expected = to_bytes(recorder.state("t"))
    recorder.abandon()
    return to_bytes(opened(path).state("t")) == expected


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


def submitted(recorder: Recorder, path: Path, event: Event, time_s: float) -> list[Output]:
    """Leave an event in the inbox and let the core take turns until it is taken up."""
    with Journal.open(path) as people:
        people.submit(event, stamp(time_s))
    return taken_up(recorder, time_s)


def taken_up(recorder: Recorder, time_s: float) -> list[Output]:
    """Let the core take turns until nothing waits."""
    found = recorder.inbox(stamp(time_s))
    for _ in range(100_000):
        if not recorder.journal.inbox():
            break
        found += recorder.inbox(stamp(time_s))
    else:
        raise AssertionError("a command is never taken up")
    return found


def fed(recorder: Recorder, path: Path, inputs: Iterable[Input]) -> list[Output]:
    """Readings of one moment together, words by the inbox, as the service does it."""
    found, waiting = list[Output](), list[Reading]()
    for record in inputs:
        if isinstance(record, (*WORDS, Correction)):
            found += submitted(recorder, path, record, record.logged_s or record.time_s)
            continue
        assert isinstance(record, Reading)
        waiting.append(record)
        if record.quantity == "orp":
            found += recorder.readings(waiting, stamp(record.time_s))
            recorder.save(stamp(record.time_s))
            waiting = []
    return found


def number_of(path: Path, kind: str, tank: str = "t", nth: int = 0) -> int:
    """The number of a word of a kind, by default the newest."""
    with Journal.open(path, read_only=True) as journal:
        return journal.latest(kind, tank, nth + 1)[nth].seq


def corrected(
    recorder: Recorder, path: Path, number: int, word: Word | None, at_s: float, tank: str = "t"
) -> list[Output]:
    """Say that entry `number` is `word` (None: nothing) at `at_s` [s]; what is told then."""
    return submitted(recorder, path, Correction(at_s, tank, number, word), at_s)


def part(readings: Sequence[Input], from_h: float, to_h: float) -> list[Input]:
    return [r for r in readings if from_h <= (r.time_s - ZERO_S) / HOUR_S < to_h]
