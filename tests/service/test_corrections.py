"""A word that is taken back leaves no trace in what is believed, however it is found out."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import (
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
from tank_stories import HOUR_S, ZERO_S, config_of, merged, pour, raw, refill, story

RIGHT = refill(1, litres=25, minutes=10, neutraliser_ml=0.0)
WRONG = replace(RIGHT, neutraliser_ml=25.0)


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


def submitted(recorder: Recorder, path: Path, event: Event, time_s: float) -> list[Output]:
    """Leave an event in the inbox and let the core take turns until it is taken up."""
    with Journal.open(path) as people:
        people.submit(event, stamp(time_s))
    found = recorder.inbox(stamp(time_s))
    while recorder.journal.inbox():
        found += recorder.inbox(stamp(time_s))
    return found


def fed(recorder: Recorder, path: Path, inputs: Iterable[Input]) -> list[Output]:
    """Readings of one moment together, words by the inbox, as the service does it."""
    found, waiting = list[Output](), list[Reading]()
    for record in inputs:
        if not isinstance(record, Reading):
            assert isinstance(record, Word)
            found += submitted(recorder, path, record, record.logged_s or record.time_s)
            continue
        waiting.append(record)
        if record.quantity == "orp":
            found += recorder.readings(waiting, stamp(record.time_s))
            recorder.save(stamp(record.time_s))
            waiting = []
    return found


def number_of(path: Path, kind: str) -> int:
    """The number of the newest word of a kind."""
    with Journal.open(path, read_only=True) as journal:
        return journal.latest(kind, "t")[0].seq


def correction(path: Path, at_s: float, word: Word | None, kind: str) -> Correction:
    return Correction(at_s, "t", number_of(path, kind), word)


@pytest.fixture(scope="module")
def readings() -> list[Input]:
    return story(3, [pour(1, 0.25, raw("chloramine", 2.0))])


def at(readings: Sequence[Input], from_h: float, to_h: float) -> list[Input]:
    return [r for r in readings if from_h <= (r.time_s - ZERO_S) / HOUR_S < to_h]


def test_a_corrected_refill_ends_as_if_it_had_been_said_right(
    tmp_path: Path, readings: list[Input]
) -> None:
    wrong, right = tmp_path / "wrong.db", tmp_path / "right.db"
    one, other = Recorder(config_of(), wrong), Recorder(config_of(), right)
    fed(other, right, merged(readings, [RIGHT]))
    fed(one, wrong, merged(at(readings, 0, 2), [WRONG]))
    before = to_bytes(one.state("t"))
    told = submitted(one, wrong, correction(wrong, ZERO_S + 2 * HOUR_S - 1, RIGHT, "refill"),
                     ZERO_S + 2 * HOUR_S - 1)  # fmt: skip
    assert to_bytes(one.state("t")) != before
    assert all(output.time_s >= ZERO_S + HOUR_S for output in told)
    fed(one, wrong, at(readings, 2, 3))
    assert to_bytes(one.state("t")) == to_bytes(other.state("t"))
