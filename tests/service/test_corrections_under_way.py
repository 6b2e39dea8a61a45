"""While the past is folded again: kills, lost snapshots, a full disk, readings that come."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.records import (
    Correction,
    Input,
    Reading,
)
from afterfill.service import corrections, rewind
from afterfill.tank_snapshot import to_bytes
from corrected_tank import (
    AT_S,
    RIGHT,
    WRONG,
    a_restart_finds_the_same,
    corrected,
    fed,
    number_of,
    opened,
    part,
    stamp,
    taken_up,
    three_hours,
)
from tank_stories import HOUR_S, ZERO_S, merged


@pytest.fixture(scope="module")
def readings() -> list[Input]:
    return three_hours()


@pytest.mark.parametrize("turns", [0, 1, 3])
def test_a_kill_while_it_is_folded_again_loses_nothing(
    tmp_path: Path, readings: list[Input], monkeypatch: pytest.MonkeyPatch, turns: int
) -> None:
    """Readings that come meanwhile are judged as before, and after it all the same as otherwise."""
    monkeypatch.setattr(corrections, "_SLICE_S", 0.002)
    path, right = tmp_path / "j.db", tmp_path / "right.db"
    one, other = opened(path), opened(right)
    fed(other, right, merged(part(readings, 0, 2.5), [RIGHT]))
    fed(one, path, merged(part(readings, 0, 2), [WRONG]))
    with Journal.open(path) as people:
        people.submit(Correction(AT_S, "t", number_of(path, "refill"), RIGHT), stamp(AT_S))
    for _ in range(turns):
        one.inbox(stamp(AT_S))
    assert len(one.journal.inbox()) == 1
    one.journal.commit()
    one.abandon()
    again = opened(path)
    assert again.inbox(stamp(AT_S)) == []
    met = [r for r in part(readings, 2, 2.1) if isinstance(r, Reading)]
    for number in range(0, len(met), 3):
        again.readings(met[number : number + 3], stamp(met[number].time_s))
    taken_up(again, ZERO_S + 2.1 * HOUR_S - 7.0)
    fed(again, path, part(readings, 2.1, 2.5))
    assert to_bytes(again.state("t")) == to_bytes(other.state("t"))
    again.abandon()
    assert to_bytes(opened(path).state("t")) == to_bytes(other.state("t"))


def test_without_any_snapshot_a_restart_goes_back_too(
    tmp_path: Path, readings: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, merged(part(readings, 0, 2), [WRONG]))
    corrected(recorder, path, number_of(path, "refill"), RIGHT, AT_S)
    fed(recorder, path, part(readings, 2, 2.2))
    recorder.journal.commit()
    recorder.journal._db.execute("DELETE FROM snapshot")
    assert a_restart_finds_the_same(recorder, path)


def test_a_snapshot_that_holds_the_wrong_word_is_passed_over(
    tmp_path: Path, readings: list[Input]
) -> None:
    """As when the snapshot that came with the correction cannot be read."""
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, merged(part(readings, 0, 1.5), [WRONG]))
    wrong = recorder.journal.last_appended()
    recorder.journal.save_snapshot("t", wrong, to_bytes(recorder.state("t")))
    recorder.journal.commit()
    at_s = ZERO_S + 1.5 * HOUR_S - 7.0
    corrected(recorder, path, number_of(path, "refill"), RIGHT, at_s)
    recorder.journal._db.execute("DELETE FROM snapshot WHERE seq > ?", (wrong,))
    assert a_restart_finds_the_same(recorder, path)


def test_a_disk_that_fails_on_the_way_only_delays_it(
    tmp_path: Path, readings: list[Input], monkeypatch: pytest.MonkeyPatch
) -> None:
    path, right = tmp_path / "j.db", tmp_path / "right.db"
    one, other = opened(path), opened(right)
    fed(other, right, merged(part(readings, 0, 1.5), [RIGHT]))
    fed(one, path, merged(part(readings, 0, 1.5), [WRONG]))
    failing, plain = [True, True], rewind.Rewind.go_on

    def go_on(it: rewind.Rewind, seconds: float | None = None) -> bool:
        if failing and failing.pop():
            raise JournalError("the disk fails") from sqlite3.OperationalError("disk I/O error")
        return plain(it, seconds)

    monkeypatch.setattr(rewind.Rewind, "go_on", go_on)
    at_s = ZERO_S + 1.5 * HOUR_S - 7.0
    with Journal.open(path) as people:
        people.submit(Correction(at_s, "t", number_of(path, "refill"), RIGHT), stamp(at_s))
    for second in range(20):  # until the disk is tried again
        one.inbox(replace(stamp(at_s), monotonic_s=stamp(at_s).monotonic_s + second))
        one.save(replace(stamp(at_s), monotonic_s=stamp(at_s).monotonic_s + second))
    assert failing == []
    assert one.journal.inbox() == []
    ours = one.state("t")
    machine = replace(ours.context, machine=other.state("t").context.machine)
    assert ours.belief.watch is not None
    assert machine.book == other.state("t").context.book
    assert to_bytes(ours._replace(context=machine, alarms=other.state("t").alarms)) == to_bytes(
        other.state("t")
    )


def test_readings_and_alarms_go_on_while_it_is_folded(
    tmp_path: Path, readings: list[Input], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every turn folds but a slice, and takes what came in."""
    monkeypatch.setattr(corrections, "_SLICE_S", 0.002)
    path = tmp_path / "j.db"
    recorder = opened(path)
    fed(recorder, path, merged(part(readings, 0, 2), [WRONG]))
    with Journal.open(path) as people:
        people.submit(Correction(AT_S, "t", number_of(path, "refill"), RIGHT), stamp(AT_S))
    first = readings[0]
    assert isinstance(first, Reading)
    turns, other = 0, replace(first, time_s=0.0)
    while recorder.journal.inbox():
        before, now = recorder.folds, stamp(AT_S + 0.01 * turns)
        recorder.readings([other], now)
        assert recorder.folds == before + 1
        recorder.inbox(now)
        turns += 1
    assert turns > 5
    with Journal.open(path, read_only=True) as journal:
        entries = journal.entries(kinds=("correction",))
        last = journal.latest("correction", "t")[0]
        later = [e for e in journal.entries(kinds=("reading",), limit=100_000) if e.seq > last.seq]
    assert len(entries) == 1
    assert later == []
