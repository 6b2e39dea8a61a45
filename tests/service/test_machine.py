from functools import partial
from pathlib import Path

import pytest

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, MachineState, Service, Stamp
from afterfill.service.damage_told import untold_damage
from afterfill.service.machine import Machine
from afterfill.service.recorder import Recorder
from afterfill.sinks.health import SinkHealth
from afterfill.tank_snapshot import to_bytes
from tank_stories import ZERO_S, config_of

UP, DOWN = SinkHealth(True, 5.0, 0), SinkHealth(False, 700.0, 3, "connection refused")
BRIEFLY_DOWN = SinkHealth(False, 30.0, 1, "connection refused")


def stamp(seconds: float = 0.0, *, synchronised: bool = True) -> Stamp:
    return Stamp(ZERO_S + seconds, synchronised, "boot", 100.0 + seconds)


def _same(health: SinkHealth) -> SinkHealth:
    return health


def found(folder: Path, at: Stamp, max_mb: float = 1.0, **sinks: SinkHealth) -> dict[str, object]:
    (folder / "j.db").touch()
    machine = Machine(
        "t", folder / "j.db", max_mb, {name: partial(_same, it) for name, it in sinks.items()},
        throttled=folder / "throttled", time_daemon=folder / "timesync",
    )  # fmt: skip
    return {state.name: state.holds for state in machine.states(at)}


@pytest.mark.parametrize(
    ("bits", "low"), [("0", False), ("1\n", True), ("10000", True), ("50005", True), ("4", False)]
)
def test_the_firmwares_bits_0_and_16_are_low_voltage(tmp_path: Path, bits: str, low: bool) -> None:
    (tmp_path / "throttled").write_text(bits)
    assert found(tmp_path, stamp())["power-low"] is low


def test_a_machine_that_does_not_say_is_unknown_not_fine(tmp_path: Path) -> None:
    assert found(tmp_path, stamp())["power-low"] is None


def test_the_clock_is_unsure_only_where_a_time_daemon_runs(tmp_path: Path) -> None:
    assert found(tmp_path, stamp(synchronised=False))["clock-unsure"] is None
    (tmp_path / "timesync").mkdir()
    assert found(tmp_path, stamp(synchronised=False))["clock-unsure"] is True
    assert found(tmp_path, stamp())["clock-unsure"] is False


def test_delivery_stalls_when_nothing_is_confirmed_for_long(tmp_path: Path) -> None:
    assert found(tmp_path, stamp(), mqtt=UP, influxdb=DOWN)["delivery-stalled"] is True
    assert found(tmp_path, stamp(), mqtt=UP, influxdb=BRIEFLY_DOWN)["delivery-stalled"] is False


def test_a_disk_too_small_for_the_journal_is_low(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = type("Usage", (), {"free": 450e6})
    monkeypatch.setattr("shutil.disk_usage", lambda _path: room)
    assert found(tmp_path, stamp(), max_mb=2000.0)["storage-low"] is True
    assert found(tmp_path, stamp(), max_mb=100.0)["storage-low"] is False


def test_the_machine_is_journaled_at_the_start_and_when_it_changes(tmp_path: Path) -> None:
    recorder = Recorder(config_of(), tmp_path / "j.db")
    recorder.ticks(stamp(-30.0))
    for seconds, holds in ((0.0, False), (60.0, False), (120.0, True), (180.0, True)):
        state = MachineState(ZERO_S, "t", "power-low", holds, "told")
        recorder.machine([state], stamp(seconds))
    expected = to_bytes(recorder.state("t"))
    with Journal.open(tmp_path / "j.db", read_only=True) as reader:
        told = [e.record for e in reader.entries(kinds=("machine-state",))]
        alarms = [e.record for e in reader.entries(kinds=("alarm",))]
    assert [r.holds for r in told if isinstance(r, MachineState)] == [False, True]
    (last,) = [a for a in alarms if isinstance(a, AlarmChange) and a.alarm == "power-low"][-1:]
    assert (last.state, last.active, last.known) == ("unacknowledged", True, True)
    assert to_bytes(Recorder(config_of(), tmp_path / "j.db").state("t")) == expected


def test_only_the_first_tank_tells_of_the_machine() -> None:
    from afterfill.tank_setup import tank_setup

    config = Config.model_validate({"tank": {"a": {"litres": 50}, "b": {"litres": 90}}})
    assert [tank_setup(config, tank).tells_machine for tank in ("a", "b")] == [True, False]


def test_a_damaged_journal_is_told_until_the_new_one_holds_it_and_stays_until_it_is_seen(
    tmp_path: Path,
) -> None:
    path = tmp_path / "j.db"
    (tmp_path / "j.db.damaged-20260301T073000Z").touch()
    killed = Machine("t", path, 1.0, {}, untold_damage(path))  # before it could tell anything
    (told_to_no_one,) = [s for s in killed.states(stamp()) if s.name == "journal-damaged"]
    assert told_to_no_one.holds is True
    said = untold_damage(path)
    assert "it is kept as j.db.damaged-20260301T073000Z" in said
    machine, recorder = Machine("t", path, 1.0, {}, said), Recorder(config_of(), path)
    recorder.machine(machine.states(stamp(1.0)), stamp(1.0))
    recorder.ticks(stamp(2.0))
    assert untold_damage(path) == said
    recorder.machine(machine.states(stamp(61.0)), stamp(61.0))
    assert untold_damage(path) == ""
    recorder.close(stamp(62.0))
    with Journal.open(path, read_only=True) as reader:
        changes = [e.record for e in reader.entries(kinds=("alarm",))]
    told = [c for c in changes if isinstance(c, AlarmChange) and c.alarm == "journal-damaged"]
    states = [(c.state, c.active) for c in told if c.state != "normal"]
    assert states == [("unacknowledged", True), ("unacknowledged", False)]
    assert said in told[-1].message


def test_rows_that_are_met_damaged_while_running_are_told_each_time_there_are_more(
    tmp_path: Path,
) -> None:
    path = tmp_path / "j.db"
    with Journal.open(path) as journal:
        for number in range(3):
            journal.append(Service(ZERO_S + number, "t", "probe"), stamp(number))
    machine = Machine("t", path, 1.0, {})

    def told() -> tuple[bool | None, str]:
        (state,) = [s for s in machine.states(stamp()) if s.name == "journal-damaged"]
        return state.holds, state.detail

    assert told() == (False, "the journal was sound when the service started")
    with Journal.open(path) as journal:
        for number in (1, 2):
            journal._db.execute("UPDATE record SET lag_ms = 7 WHERE seq = ?", (number,))
            assert [e.seq for e in journal.entries()] == [1, 2, 3][number:]
            assert told()[0] is True
            assert told()[0] is False
        assert journal.damaged == 2
