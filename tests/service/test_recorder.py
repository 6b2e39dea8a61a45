"""Restart is the same fold over the same records; nothing that was acknowledged is lost."""

from pathlib import Path

import pytest

from afterfill.journal.recording import read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.records import EVENTS, Input, Output, Reading, Refill, SourceTest, Stamp
from afterfill.service.recorder import Recorder
from afterfill.tank import TankState, folded
from afterfill.tank_setup import tank_setup
from afterfill.tank_snapshot import to_bytes
from afterfill.wire import to_line, to_published
from tank_stories import HOUR_S, ZERO_S, config_of, merged, pour, raw, refill, story

SAID = refill(1, litres=25, minutes=10, neutraliser_ml=2.5)


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


@pytest.fixture(scope="module")
def inputs() -> list[Input]:
    return merged(story(3, [pour(1, 0.25, raw("chloramine", 2.0))]), [SAID])


def live(recorder: Recorder, journal_path: Path, inputs: list[Input]) -> list[Output]:
    """Feed a recorder as the service would: readings of one moment together, events by inbox."""
    found: list[Output] = []
    waiting: list[Reading] = []
    for record in inputs:
        if isinstance(record, EVENTS):
            with Journal.open(journal_path) as people:
                people.submit(record, stamp(record.time_s))
            found += recorder.inbox(stamp(record.time_s))
        elif isinstance(record, Reading):
            waiting.append(record)
            if record.quantity == "orp":
                found += recorder.readings(waiting, stamp(record.time_s))
                recorder.save(stamp(record.time_s))
                waiting = []
    return found


def test_a_restart_in_the_middle_changes_nothing(tmp_path: Path, inputs: list[Input]) -> None:
    config = config_of()
    whole = Recorder(config, tmp_path / "whole.db")
    all_found = live(whole, tmp_path / "whole.db", inputs)
    parted = Recorder(config, tmp_path / "parted.db")
    found = live(parted, tmp_path / "parted.db", inputs[:700])
    parted.close(stamp(ZERO_S + 1.2 * HOUR_S))
    again = Recorder(config, tmp_path / "parted.db")
    found += live(again, tmp_path / "parted.db", inputs[700:])
    assert found == all_found
    assert to_bytes(again.state("t")) == to_bytes(whole.state("t"))


def test_without_any_snapshot_the_records_alone_give_the_state(
    tmp_path: Path, inputs: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    live(recorder, path, inputs[:600])
    recorder.journal.commit()  # and then the power fails: no snapshot, no close
    after = Recorder(config_of(), path)
    assert to_bytes(after.state("t")) == to_bytes(recorder.state("t"))


def test_a_snapshot_of_another_version_is_made_again(tmp_path: Path, inputs: list[Input]) -> None:
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    live(recorder, path, inputs[:300])
    expected = to_bytes(recorder.state("t"))
    recorder.journal.save_snapshot("t", recorder.journal.last_seq() + 1, b'{"layout":"old"}')
    recorder.journal.commit()
    assert to_bytes(Recorder(config_of(), path).state("t")) == expected


def test_a_replay_of_the_export_gives_the_live_verdicts_to_the_byte(
    tmp_path: Path, inputs: list[Input]
) -> None:
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    found = live(recorder, path, inputs)
    recorder.close(stamp(ZERO_S + 3 * HOUR_S))
    with Journal.open(path, read_only=True) as journal:
        write_recording(journal, "t", ZERO_S - 1, ZERO_S + 4 * HOUR_S, tmp_path / "recording")
    state, replayed = TankState(), []
    setup = tank_setup(config_of(), "t")
    for record in read_recording(tmp_path / "recording", "t", notice=pytest.fail):
        state, outputs = folded(setup, state, record)
        replayed += outputs
    assert [to_line(to_published(o)) for o in replayed] == [to_line(to_published(o)) for o in found]


def test_what_matters_is_on_the_disk_at_once(tmp_path: Path, inputs: list[Input]) -> None:
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    found = live(recorder, path, inputs)
    with Journal.open(path, read_only=True) as reader:
        kept = [e.record for e in reader.entries(kinds=("verdict", "alarm"), limit=10_000)]
    assert kept == [o for o in found if to_published(o)["kind"] in ("verdict", "alarm")]
    assert kept


def test_a_command_is_taken_up_once(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    recorder = Recorder(config_of(), path)
    with Journal.open(path) as people:
        people.submit(SAID, stamp(SAID.time_s))
    recorder.inbox(stamp(SAID.time_s + 5))
    recorder.inbox(stamp(SAID.time_s + 6))
    with Journal.open(path, read_only=True) as reader:
        (entry,) = reader.entries(kinds=("refill",))
    assert isinstance(entry.record, Refill)
    assert entry.record.logged_s == SAID.time_s + 5
    assert entry.record.litres == 25


def test_a_tank_without_readings_is_told_the_time(tmp_path: Path) -> None:
    recorder = Recorder(config_of(), tmp_path / "j.db")
    for number in range(20):
        recorder.ticks(stamp(ZERO_S + 10.0 * number))
    recorder.close(stamp(ZERO_S + 200))
    with Journal.open(tmp_path / "j.db", read_only=True) as reader:
        assert len(reader.entries(kinds=("tick",))) == 7


def test_what_one_tank_learns_of_its_tap_the_others_know_at_once(tmp_path: Path) -> None:
    """Two tanks on the tap, one on a well; a restart, with and without snapshots, knows it too."""
    one = config_of().model_dump(by_alias=True, exclude_unset=True)
    tank = {**one["tank"]["t"], "source": "tap"}
    sources = {**one["source"], "well": {"residual_mg_l": 0.0}}
    both = {"t": tank, "u": tank, "w": {**tank, "source": "well"}}
    config = type(config_of()).model_validate({**one, "tank": both, "source": sources})
    path = tmp_path / "journal.db"
    recorder = Recorder(config, path)
    test = SourceTest(ZERO_S + 60.0, "t", "tap", 4.0)
    live(recorder, path, [*story(0.01), test])
    known = {name: recorder.state(name).belief.sources for name in both}
    assert known["t"] == known["u"] == known["w"] != {}  # the third may draw from it as well
    recorder.save(stamp(ZERO_S + 70.0))
    recorder.abandon()  # as a kill would
    again = Recorder(config, path)
    assert {name: again.state(name).belief.sources for name in both} == known
    assert to_bytes(again.state("u")) == to_bytes(recorder.state("u"))
    again.close(stamp(ZERO_S + 80.0))
