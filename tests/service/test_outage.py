"""The disk takes nothing for a while: what was found waits, is written once, and is told."""

import logging
import sqlite3
from pathlib import Path

import pytest

from afterfill.errors import JournalDamaged, JournalError
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, Dose, Health, Input, Output, Reading, Stamp
from afterfill.service import recorder as recorder_module
from afterfill.service.outage import Outage
from afterfill.service.recorder import Recorder
from afterfill.tank_snapshot import to_bytes
from tank_stories import HOUR_S, ZERO_S, config_of, merged, pour, raw, refill, story

FULL = "the journal j.db cannot grow: the disk is full; free some space"


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


class Disk:
    """Refuses every write while `full`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.full = False
        self.refused = 0
        real = Journal.commit

        def commit(journal: Journal, *, flush: bool = True) -> None:
            if self.full and journal.uncommitted:
                self.refused += 1
                raise JournalError(FULL) from sqlite3.OperationalError("disk is full")
            real(journal, flush=flush)

        monkeypatch.setattr(Journal, "commit", commit)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    return Disk(monkeypatch)


@pytest.fixture(scope="module")
def inputs() -> list[Input]:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    return merged(story(2, [pour(1, 0.25, raw("chloramine", 2.0))]), [said])


def fed(recorder: Recorder, inputs: list[Input]) -> list[Output]:
    found: list[Output] = []
    for record in inputs:
        if isinstance(record, Reading):
            found += recorder.readings([record], stamp(record.time_s))
            recorder.save(stamp(record.time_s))
    return found


def alarms_in(path: Path) -> list[AlarmChange]:
    with Journal.open(path, read_only=True) as reader:
        kept = [e.record for e in reader.entries(kinds=("alarm",), limit=10_000)]
    return [record for record in kept if isinstance(record, AlarmChange)]


def test_an_alarm_found_while_the_disk_is_full_is_written_once_when_it_is_not(
    tmp_path: Path, inputs: list[Input], disk: Disk
) -> None:
    recorder = Recorder(config_of(), tmp_path / "j.db")
    before = fed(recorder, inputs[:500])
    disk.full = True
    during = fed(recorder, inputs[500:900])
    raised = [c for c in during if isinstance(c, AlarmChange) and c.alarm == "residual-oxidant"]
    assert raised, "the story raises no alarm in this stretch"
    assert raised[0] not in alarms_in(tmp_path / "j.db")
    disk.full = False
    after = fed(recorder, inputs[900:])
    recorder.close(stamp(ZERO_S + 3 * HOUR_S))
    found = [c for c in (*before, *during, *after) if isinstance(c, AlarmChange)]
    kept = alarms_in(tmp_path / "j.db")
    assert [c for c in kept if c in found] == found
    assert len(set(kept)) == len(kept)
    failing = [(c.state, c.active) for c in kept if c.alarm == "journal-failing"]
    assert ("unacknowledged", True) in failing
    assert failing[-1] == ("unacknowledged", False), "it stays until it was seen"
    (last,) = [c.message for c in kept if c.alarm == "journal-failing"][-1:]
    assert "nothing could be recorded" in last
    assert "free some space" in last


def test_tries_are_few_while_the_disk_is_full(
    tmp_path: Path, inputs: list[Input], disk: Disk, caplog: pytest.LogCaptureFixture
) -> None:
    recorder = Recorder(config_of(), tmp_path / "j.db")
    fed(recorder, inputs[:30])
    disk.full = True
    with caplog.at_level(logging.WARNING):
        fed(recorder, inputs[30:330])
    assert 2 <= disk.refused <= 110  # 2000 s, at most one each 15 s once it has lasted
    levels = [r.levelname for r in caplog.records if FULL in r.message]
    assert levels == ["ERROR", "WARNING"]  # the log once, and the alarm
    disk.full = False


def test_what_waits_is_folded_the_same_after_a_restart(
    tmp_path: Path, inputs: list[Input], disk: Disk
) -> None:
    recorder = Recorder(config_of(), tmp_path / "j.db")
    fed(recorder, inputs[:100])
    disk.full = True
    fed(recorder, inputs[100:400])
    disk.full = False
    recorder.close(stamp(ZERO_S + HOUR_S))
    assert to_bytes(Recorder(config_of(), tmp_path / "j.db").state("t")) == to_bytes(
        recorder.state("t")
    )


def test_memory_is_bounded_and_what_matters_is_kept(
    tmp_path: Path, inputs: list[Input], disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "_MOST_WAITING", 200)
    recorder = Recorder(config_of(), tmp_path / "j.db")
    fed(recorder, inputs[:500])
    disk.full = True
    during = fed(recorder, inputs[500:900])
    assert recorder.journal.uncommitted <= 210
    disk.full = False
    recorder.close(stamp(ZERO_S + 3 * HOUR_S))
    found = [c for c in during if isinstance(c, AlarmChange)]
    kept = alarms_in(tmp_path / "j.db")
    assert found
    assert [c for c in kept if c in found] == found
    with Journal.open(tmp_path / "j.db") as journal:
        told = [e.record for e in journal.entries(kinds=("health",))]
        assert any(isinstance(t, Health) and "were dropped" in t.detail for t in told)
    again = Recorder(config_of(), tmp_path / "j.db")
    assert to_bytes(again.state("t")) == to_bytes(recorder.state("t"))


def with_a_dose(path: Path) -> Recorder:
    """A recorder in whose inbox a command waits."""
    recorder = Recorder(config_of(), path)
    with Journal.open(path) as people:
        people.submit(Dose(ZERO_S, "t", 2.0), stamp(ZERO_S))
    return recorder


def test_a_command_that_memory_does_not_suffice_for_stays_in_the_inbox(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "j.db"
    recorder = with_a_dose(path)

    def no_room(*_: object) -> None:
        raise MemoryError

    with monkeypatch.context() as scarce:
        scarce.setattr(recorder_module, "folded", no_room)
        with pytest.raises(MemoryError):
            recorder.inbox(stamp(ZERO_S + 1))
    recorder.abandon()
    again = Recorder(config_of(), path)
    again.inbox(stamp(ZERO_S + 2))
    again.close(stamp(ZERO_S + 3))
    with Journal.open(path) as journal:
        (entry,) = journal.entries(kinds=("dose",))
        assert journal.inbox() == []
    assert isinstance(entry.record, Dose)


def test_one_failure_is_no_outage_yet_and_two_are() -> None:
    outage = Outage()
    outage.failed(FULL, stamp(ZERO_S))
    assert (outage.holds, outage.may_try(stamp(ZERO_S + 0.5))) == (False, False)
    assert outage.may_try(stamp(ZERO_S + 1))
    outage.failed(FULL, stamp(ZERO_S + 1))
    assert (outage.holds, outage.may_try(stamp(ZERO_S + 2))) == (True, False)
    outage.worked(stamp(ZERO_S + 60))
    assert (outage.holds, outage.may_try(stamp(ZERO_S + 60))) == (False, True)
    assert outage.detail == f"for 60 s nothing could be recorded: {FULL}"


def malformed(_: Journal, *, flush: bool = True) -> None:
    raise JournalDamaged("the journal j.db is damaged (database disk image is malformed)")


def test_a_page_that_could_not_be_read_once_is_no_damage(
    tmp_path: Path, inputs: list[Input], monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(config_of(), tmp_path / "j.db")
    with monkeypatch.context() as failing:
        failing.setattr(Journal, "commit", malformed)
        fed(recorder, inputs[:6])
    fed(recorder, inputs[6:60])
    recorder.close(stamp(ZERO_S + HOUR_S))
    with Journal.open(tmp_path / "j.db", read_only=True) as reader:
        assert len(reader.entries(kinds=("reading",))) == 60


def test_damage_is_believed_when_the_file_says_the_same(
    tmp_path: Path, inputs: list[Input], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    fed(recorder, inputs[:900])
    recorder.journal.commit()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2] + b"\xa5" * (len(content) - len(content) // 2))
    monkeypatch.setattr(Journal, "commit", malformed)
    with pytest.raises(JournalDamaged):
        fed(recorder, inputs[900:])
    recorder.abandon()
