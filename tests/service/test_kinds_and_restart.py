"""One table of record kinds; after each kind, a kill and a restart change nothing."""

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from afterfill.inference.calibration.learnt import Learnt
from afterfill.journal.store import Journal
from afterfill.record_kinds import TABLE, is_input
from afterfill.records import (
    AlarmCommand,
    Calibration,
    Correction,
    Dose,
    Event,
    Input,
    KitResult,
    MachineState,
    Note,
    ProbeLearnt,
    Reading,
    Record,
    Refill,
    ResponseCheck,
    Service,
    SourceLearnt,
    SourceTest,
    Stamp,
    Stock,
    StockLeft,
    Tick,
)
from afterfill.service import restore
from afterfill.service.recorder import Recorder
from afterfill.tank import TankState
from afterfill.tank_learnt import taken_up
from afterfill.tank_snapshot import LAYOUT, from_bytes, to_bytes
from tank_stories import HOUR_S, ZERO_S, config_of, pour, raw, story

AT_S = ZERO_S + 0.5 * HOUR_S
ONE_OF_EACH: dict[type[Record], Input] = {
    Reading: Reading(AT_S, "t", "orp", 301.5, "t-orp"),
    Tick: Tick(AT_S, "t"),
    Refill: Refill(AT_S, "t", "replace", 25.0, 10.0, 2.5, "tap"),
    KitResult: KitResult(AT_S, "t", 0.25, 0.1, 0.05, 7.4),
    SourceTest: SourceTest(AT_S, "t", "tap", 2.5, 0.1),
    Dose: Dose(AT_S, "t", 2.0),
    Stock: Stock(AT_S, "t", "counted", 250.0, "n"),
    Service: Service(AT_S, "t", "probe"),
    Calibration: Calibration(AT_S, "t", "ph", "t-ph", 0.98, 1.5),
    ResponseCheck: ResponseCheck(AT_S, "t", 130.0, 4.0, 0.0, 1.8, True, 7.5, "t-orp"),
    Note: Note(AT_S, "t", "new lamp"),
    Correction: Correction(AT_S, "t", 1, Note(AT_S - 60.0, "t", "old lamp")),
    AlarmCommand: AlarmCommand(AT_S, "t", "ph", "shelve", 60.0),
    MachineState: MachineState(AT_S, "t", "storage-low", True, "3 MB are free"),
    StockLeft: StockLeft(
        AT_S, "t", "n", 12.0, 250.0, AT_S - 60.0, AT_S - 60.0, 0.0, 1, (3.0,), (25.0,)
    ),
    SourceLearnt: SourceLearnt(AT_S, "t", "tap", 0.9, 0.25, AT_S - 60.0, 2, 0.05),
}
INPUTS = [kind.record_type for kind in TABLE if kind.role == "input"]


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


def said(recorder: Recorder, path: Path, record: Input) -> None:
    """Give one record to the recorder the way it comes in."""
    now = stamp(record.time_s)
    match record:
        case Reading():
            recorder.readings([record], now)
        case Tick():
            recorder.ticks(now)
        case MachineState():
            recorder.machine([record], now)
        case SourceLearnt() | StockLeft():
            recorder.heard(record, now)
        case _:
            event: Event = record
            with Journal.open(path) as people:
                people.submit(event, now)
            recorder.inbox(now)
    recorder.save(now)


def fed(path: Path, hours: float) -> Recorder:
    recorder = Recorder(config_of(), path)
    for reading in story(hours, [pour(0.2, 0.25, raw("chloramine", 2.0))]):
        said(recorder, path, reading)
    return recorder


def test_every_kind_of_input_is_tried_here() -> None:
    assert set(ONE_OF_EACH) == set(INPUTS)
    assert all(is_input(record) for record in ONE_OF_EACH.values())


def test_words_and_bits_are_given_once() -> None:
    words = [kind.word for kind in TABLE]
    bits = [kind.block_bit for kind in TABLE if kind.block_bit is not None]
    assert len(words) == len(set(words))
    assert sorted(bits) == list(range(len(bits)))


@pytest.mark.parametrize("with_snapshot", [True, False])
@pytest.mark.parametrize("kind", INPUTS, ids=lambda kind: kind.__name__)
def test_a_kill_after_any_kind_of_record_changes_nothing(
    tmp_path: Path, kind: type[Record], with_snapshot: bool
) -> None:
    path = tmp_path / "j.db"
    recorder = fed(path, 0.5)
    if with_snapshot:
        seq = recorder.journal.last_appended()
        recorder.journal.save_snapshot("t", seq, to_bytes(recorder.state("t")))
        recorder.journal.commit()
    said(recorder, path, ONE_OF_EACH[kind])
    said(recorder, path, Reading(AT_S + 20.0, "t", "orp", 302.0, "t-orp"))
    recorder.journal.commit()
    expected = to_bytes(recorder.state("t"))
    recorder.abandon()  # as a kill does
    assert to_bytes(Recorder(config_of(), path).state("t")) == expected


@pytest.mark.parametrize(
    "kind",
    [kind.record_type for kind in TABLE if kind.lasting and kind.role == "input"],
    ids=lambda kind: kind.__name__,
)
def test_what_lasts_is_known_when_its_readings_are_long_gone(
    tmp_path: Path, kind: type[Record], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No snapshot can be read, and the record lies further back than a restart folds again."""
    monkeypatch.setattr(restore, "_LOOK_BACK_ENTRIES", 30)
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    untold = to_bytes(recorder.state("t"))
    said(recorder, path, ONE_OF_EACH[kind])
    told = recorder.state("t")
    assert to_bytes(told) != untold
    for number in range(60):
        recorder.readings(
            [Reading(0.0, "t", "temperature", 25.0, "t-temperature")], stamp(AT_S + 1 + number)
        )
    recorder.journal.commit()
    recorder.abandon()
    after = Recorder(config_of(), path).state("t")
    assert np.array_equal(after.belief.learnt.mean, told.belief.learnt.mean)
    assert after.context.machine == told.context.machine
    assert after.alarms.statuses["ph"].shelved_until_s == told.alarms.statuses["ph"].shelved_until_s
    for quantity, time_s in told.context.maintained_s.items():
        assert after.context.maintained_s[quantity] == time_s


def test_a_snapshot_with_another_number_of_members_is_of_another_version(tmp_path: Path) -> None:
    recorder = fed(tmp_path / "j.db", 0.5)
    state = recorder.state("t")
    recorder.close(stamp(AT_S))
    assert from_bytes(to_bytes(state)) is not None
    short = state.belief.ammonia._replace(total=state.belief.ammonia.total[:48])
    odd = state._replace(belief=state.belief._replace(ammonia=short))
    with pytest.raises(Exception, match="cannot be read"):
        from_bytes(to_bytes(odd))


def test_what_was_learnt_of_a_probe_outlives_a_state_that_cannot_be_read(tmp_path: Path) -> None:
    """It is a record of its own, however old, and also stands in the state of another version."""
    path = tmp_path / "j.db"
    recorder = fed(path, 0.5)
    said(recorder, path, ONE_OF_EACH[ResponseCheck])
    said(recorder, path, Reading(AT_S + 60.0, "t", "orp", 302.0, "t-orp"))
    told = recorder.state("t").belief.learnt
    recorder.close(stamp(AT_S + 61.0))
    assert told.refills == 0
    with Journal.open(path) as journal:
        newest = [e.record for e in journal.latest("probe-learnt", "t")]
    assert isinstance(newest[0], ProbeLearnt)
    assert newest[0].log_mean == tuple(told.mean)
    fresh = taken_up(TankState(), newest[0])
    assert np.array_equal(fresh.belief.learnt.mean, told.mean)


def test_what_an_older_version_learnt_is_read_from_its_state(tmp_path: Path) -> None:
    """A journal of version 0.1 has no record of it, only a state that this version cannot read."""
    path = tmp_path / "j.db"
    recorder = fed(path, 0.5)
    said(recorder, path, ONE_OF_EACH[ResponseCheck])
    told = recorder.state("t").belief.learnt
    old = to_bytes(recorder.state("t")).replace(LAYOUT.encode(), b"01d01d01")
    recorder.close(stamp(AT_S + 61.0))
    with sqlite3.connect(path) as db:
        db.execute("DELETE FROM record WHERE kind IN (SELECT id FROM word WHERE text IN"
                   " ('response-check', 'probe-learnt'))")  # fmt: skip
        db.execute("DELETE FROM snapshot")
    db.close()
    with Journal.open(path) as journal:
        journal.save_snapshot("t", journal.last_seq(), old)
        journal.commit()
    after = Recorder(config_of(), path).state("t").belief.learnt
    assert np.array_equal(after.mean, told.mean)
    assert np.array_equal(after.sd, told.sd)
    assert not np.array_equal(after.mean, Learnt().mean)
