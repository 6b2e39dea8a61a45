"""`log` and `alarm`: understood, left in the inbox, answered in a line."""

import time
from datetime import datetime
from pathlib import Path

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.journal.recording import read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.records import AlarmCommand, Dose, KitResult, Refill, Service, SourceTest
from cli_room import afterfill, alarm, inbox, lines_of, reading, record, running, write_config


@pytest.fixture
def config(tmp_path: Path) -> str:
    return str(write_config(tmp_path))


def test_a_refill_in_gallons_some_minutes_ago(tmp_path: Path, config: str) -> None:
    result = afterfill(
        "log", "refill", "--config", config, "--litres", "6 US gal", "--minutes", "10",
        "--neutraliser-ml", "5", "--source", "tap", "--at", "20 min ago",
    )  # fmt: skip
    assert result.exit_code == 0
    assert "refill of 22.71 L (drained and refilled, 10 min, from tap), 5 mL" in result.stdout
    assert "It will be taken up when the service runs." in result.stdout
    (event,) = inbox(tmp_path)
    assert isinstance(event, Refill)
    assert event.litres == pytest.approx(22.712, abs=1e-3)
    assert (event.minutes, event.neutraliser_ml, event.source) == (10.0, 5.0, "tap")
    assert event.time_s == pytest.approx(time.time() - 1200, abs=5)
    assert event.logged_s is None


def test_what_is_not_said_about_a_refill_is_not_known(tmp_path: Path, config: str) -> None:
    result = afterfill("log", "refill", "--config", config, "--mode", "add")
    assert "refill of unknown volume (added to what was there), neutraliser not known" in (
        result.stdout
    )
    (event,) = inbox(tmp_path)
    assert isinstance(event, Refill)
    assert (event.mode, event.litres, event.neutraliser_ml) == ("add", None, None)


def test_no_neutraliser_is_not_the_same_as_unknown(tmp_path: Path, config: str) -> None:
    result = afterfill("log", "refill", "--config", config, "--neutraliser-ml", "0")
    assert "no neutraliser" in result.stdout
    assert inbox(tmp_path)[0].neutraliser_ml == 0.0


def test_while_the_service_reads_nothing_is_said_of_waiting(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(time.time() - 5))
    with running(tmp_path):
        result = afterfill("log", "dose", "--config", config, "--neutraliser-ml", "2")
    assert result.stdout.rstrip().endswith("dose of 2 mL neutraliser")
    assert inbox(tmp_path)[0] == Dose(inbox(tmp_path)[0].time_s, "window", 2.0)


def test_a_test_of_the_tap_is_left_for_the_service(tmp_path: Path, config: str) -> None:
    result = afterfill(
        "log", "source-test", "--total-chlorine", "2.5", "--source", "tap", "--config", config
    )
    assert (result.exit_code, result.stderr) == (0, "")
    assert "test of the source tap: total chlorine 2.5 mg/L" in result.stdout
    assert inbox(tmp_path)[0] == SourceTest(inbox(tmp_path)[0].time_s, "window", "tap", 2.5)
    nothing = afterfill("log", "source-test", "--config", config)
    assert nothing.exit_code == 2
    assert "a test of the source needs total or free chlorine" in nothing.stderr
    slip = ["--total-chlorine", "2.5", "--source", "tpa"]
    typed = afterfill("log", "source-test", *slip, "--config", config)
    assert (typed.exit_code, "did you mean 'tap'?" in typed.stderr) == (2, True)


def test_kit_dose_and_service_as_json(tmp_path: Path, config: str) -> None:
    at = ["--at", "2026-03-01T07:30:00Z", "--config", config, "--json"]
    results = [
        afterfill("log", "kit", "--total-ammonia", "0.25", "--ph", "7.4", *at),
        afterfill("log", "dose", "--neutraliser-ml", "2", *at),
        afterfill("log", "service", "--what", "cleaning", *at),
    ]
    assert [r.exit_code for r in results] == [0, 0, 0]
    assert lines_of(results[0])[0] == {
        "kind": "kit", "time": "2026-03-01T07:30:00Z", "tank": "window", "total_ammonia_mg_l": 0.25,
        "total_chlorine_mg_l": None, "free_chlorine_mg_l": None, "ph": 7.4, "logged": None,
        "service_running": False,
    }  # fmt: skip
    time_s = 1_772_350_200.0
    assert inbox(tmp_path) == [
        KitResult(time_s, "window", total_ammonia_mg_l=0.25, ph=7.4),
        Dose(time_s, "window", 2.0),
        Service(time_s, "window", "cleaning"),
    ]


def test_a_time_of_day_is_todays(tmp_path: Path, config: str) -> None:
    midnight = datetime.now().astimezone().replace(hour=0, minute=0, second=0, microsecond=0)
    afterfill("log", "service", "--what", "feeding", "--at", "0:00", "--config", config)
    assert inbox(tmp_path)[0].time_s == midnight.timestamp()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["refill", "--litres", "3 cups"], "'3 cups' is not a volume"),
        (["refill", "--litres", "-3"], "key 'litres' is"),
        (["refill", "--mode", "ad"], "key 'mode' is 'ad'; allowed: 'replace' or 'add'"),
        (["refill", "--source", "tpa"], "there is no source 'tpa'; did you mean 'tap'?"),
        (["refill", "--at", "25:00"], "'25:00' is not a time of day"),
        (["refill", "--at", "soon"], "'soon' is not a time: write 2026-03-01T07:30:00Z"),
        (["refill", "--at", "2099-01-01T00:00:00Z"], "is still to come"),
        (["refill", "--tank", "windw"], "there is no tank 'windw'; did you mean 'window'?"),
        (["kit"], "a kit reading needs at least one value"),
        (["kit", "--ph", "15"], "key 'ph' is 15.0"),
        (["dose", "--neutraliser-ml", "nan"], "'neutraliser_ml' is not usable: 'nan' is not"),
        (
            ["service", "--what", "feed"],
            "allowed: 'probe', 'feeding', 'cleaning', 'other', 'lamp', 'ozone' or 'medicine'",
        ),
    ],
)
def test_a_mistake_is_one_sentence_and_nothing_is_logged(
    tmp_path: Path, config: str, arguments: list[str], sentence: str
) -> None:
    result = afterfill("log", *arguments, "--config", config)
    assert result.exit_code == 2
    assert result.stderr.startswith("afterfill: ")
    assert result.stderr.count("\n") == 1
    assert sentence in result.stderr
    assert not (tmp_path / "afterfill.db").exists()


def test_with_two_tanks_the_tank_must_be_said(tmp_path: Path) -> None:
    tanks = "[tank.window]\nlitres = 100\n[tank.pond]\nlitres = 900\n"
    config = str(write_config(tmp_path, tanks=tanks))
    result = afterfill("log", "refill", "--config", config)
    assert result.exit_code == 2
    assert "say which tank with --tank: window, pond" in result.stderr
    assert afterfill("log", "refill", "--config", config, "--tank", "pond").exit_code == 0
    assert inbox(tmp_path)[0].tank == "pond"


def test_the_list_has_every_alarm_in_the_standards_words(tmp_path: Path, config: str) -> None:
    record(
        tmp_path,
        alarm(time.time() - 90, "residual-oxidant"),
        alarm(time.time() - 60, "residual-oxidant", "acknowledged"),
        reading(time.time() - 5),
    )
    with running(tmp_path):
        rows = lines_of(afterfill("alarm", "list", "--config", config, "--json"))
    assert [row["alarm"] for row in rows] == list(DEFINITIONS)
    assert rows[0]["state"] == "acknowledged"
    assert {row["state"] for row in rows[1:]} == {"normal"}
    assert {row["note"] for row in rows} == {None}
    text = afterfill("alarm", "list", "--config", config).stdout
    assert "a person is on it" in " ".join(text.split())
    assert "message of residual-oxidant" in text


def test_alarms_of_a_tank_never_read_are_unknown_not_normal(tmp_path: Path, config: str) -> None:
    record(tmp_path)
    rows = lines_of(afterfill("alarm", "list", "--config", config, "--json"))
    assert {row["state"] for row in rows} == {"unknown"}
    assert "nothing has been read yet" in afterfill("alarm", "list", "--config", config).stdout


def test_old_states_are_shown_with_their_age(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(time.time() - 7200))
    result = afterfill("alarm", "list", "--config", config)
    assert "states are as of 2.0 h ago: the service is not running" in result.stdout
    with running(tmp_path):
        result = afterfill("alarm", "list", "--config", config)
    assert "states are as of 2.0 h ago: the service does not read" in result.stdout


def test_states_of_a_stopped_service_are_shown_with_their_age(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(time.time() - 8))
    result = afterfill("alarm", "list", "--config", config)
    assert "states are as of 8 s ago: the service is not running" in result.stdout


def test_why_gives_cause_consequence_time_and_action(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(time.time()))
    text = afterfill("alarm", "list", "--why", "--config", config).stdout
    for heading in ("cause: ", "consequence: ", "time to respond: minutes", "action: stop the"):
        assert heading in text


def test_an_alarm_is_acknowledged_and_shelved_through_the_inbox(
    tmp_path: Path, config: str
) -> None:
    record(tmp_path, alarm(time.time(), "residual-oxidant"), reading(time.time()))
    with running(tmp_path):
        seen = afterfill("alarm", "acknowledge", "residual-oxidant", "--config", config)
        aside = afterfill("alarm", "shelve", "cannot-see", "--minutes", "90", "--config", config)
    assert seen.stdout == "alarm residual-oxidant of tank window: acknowledged\n"
    assert aside.stdout == "alarm cannot-see of tank window: shelved for 90 min\n"
    commands = inbox(tmp_path)
    assert all(isinstance(command, AlarmCommand) for command in commands)
    assert [(c.alarm, c.action, c.minutes) for c in commands] == [
        ("residual-oxidant", "acknowledge", None),
        ("cannot-see", "shelve", 90.0),
    ]


def test_an_alarm_goes_out_of_service_with_a_reason_and_comes_back(
    tmp_path: Path, config: str
) -> None:
    record(tmp_path, reading(time.time()))
    with running(tmp_path):
        out = afterfill(
            "alarm", "out-of-service", "ph", "--reason", "glass on order", "--config", config
        )
    assert out.stdout == "alarm ph of tank window: out of service\n"
    (command,) = inbox(tmp_path)
    assert (command.action, command.reason) == ("out-of-service", "glass on order")
    with running(tmp_path):
        back = afterfill("alarm", "return-to-service", "ph", "--config", config)
    assert back.stdout == "alarm ph of tank window is normal: it is in service\n"
    record(tmp_path, alarm(time.time(), "ph", "out-of-service", active=False))
    with running(tmp_path):
        back = afterfill("alarm", "return-to-service", "ph", "--config", config)
    assert back.stdout == "alarm ph of tank window: back in service\n"


def test_only_a_shelved_alarm_is_unshelved(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(time.time()))
    idle = afterfill("alarm", "unshelve", "ph", "--config", config)
    assert idle.stdout == "alarm ph of tank window is normal: it is not shelved\n"
    record(tmp_path, alarm(time.time(), "ph", "shelved"))
    assert "unshelved" in afterfill("alarm", "unshelve", "ph", "--config", config).stdout


def test_the_load_of_the_alarms_is_told_for_each_tank(tmp_path: Path, config: str) -> None:
    now_s = time.time()
    record(tmp_path, alarm(now_s - 7200, "ph"), alarm(now_s - 60, "residual-oxidant"))
    (row,) = lines_of(afterfill("alarm", "load", "--days", "1", "--config", config, "--json"))
    assert (row["tank"], row["raised"], row["peak_ten_minutes"]) == ("window", 2, 1)
    assert row["standing"] == ["ph", "residual-oxidant"]
    text = afterfill("alarm", "load", "--config", config).stdout
    assert "2 in 7 days" in text
    refused = afterfill("alarm", "load", "--days", "0", "--config", config)
    assert refused.exit_code == 2


def test_machine_alarms_are_listed_with_the_first_tank_only(tmp_path: Path) -> None:
    tanks = "[tank.window]\nlitres = 100\n[tank.pond]\nlitres = 900\n"
    config = str(write_config(tmp_path, tanks=tanks))
    record(tmp_path, reading(time.time()))
    rows = lines_of(afterfill("alarm", "list", "--config", config, "--json"))
    assert [row["tank"] for row in rows if row["alarm"] == "power-low"] == ["window"]


def test_a_normal_alarm_needs_no_acknowledgement(tmp_path: Path, config: str) -> None:
    record(tmp_path, reading(time.time()))
    result = afterfill("alarm", "acknowledge", "free-ammonia", "--config", config, "--json")
    assert lines_of(result)[0]["done"] is False
    assert inbox(tmp_path) == []


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["acknowledge", "residual"], "there is no alarm 'residual'; did you mean 'residual-oxi"),
        (["shelve", "cannot-see", "--minutes", "0"], "key 'minutes' is 0.0"),
        (["shelve", "cannot-see", "--minutes", "99999"], "key 'minutes' is 99999.0"),
        (["out-of-service", "ph", "--reason", ""], "out-of-service: key 'reason' is ''"),
    ],
)
def test_a_mistake_with_an_alarm_is_one_sentence(
    tmp_path: Path, config: str, arguments: list[str], sentence: str
) -> None:
    record(tmp_path, reading(time.time()))
    result = afterfill("alarm", *arguments, "--config", config)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert inbox(tmp_path) == []


def test_a_probe_that_is_taken_out_by_hand_is_named_and_comes_back(
    tmp_path: Path, config: str
) -> None:
    words = ["log", "service", "--what", "probe", "--quantity", "ph", "--config", config]
    for further in (["--minutes", "20"], ["--minutes", "0"], []):
        assert afterfill(*words, *further).exit_code == 0
    told = inbox(tmp_path)
    assert [(event.quantity, event.minutes) for event in told] == [
        ("ph", 20.0), ("ph", 0.0), ("ph", None)
    ]  # fmt: skip
    record(tmp_path, *told)
    with Journal.open(tmp_path / "afterfill.db", read_only=True) as journal:
        write_recording(journal, "window", 0.0, 2e9, tmp_path / "recording")
    assert list(read_recording(tmp_path / "recording", "window")) == told


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--what", "feeding", "--quantity", "ph"], "belong to what = probe"),
        (["--what", "probe", "--minutes", "20"], "minutes need to know which probe is out"),
        (["--what", "probe", "--quantity", "orp", "--minutes", "500"], "less than or equal to 120"),
        (["--what", "probe", "--quantity", "turbidity"], "is 'turbidity'; allowed: 'orp'"),
    ],
)
def test_a_probe_that_is_taken_out_is_told_in_full(
    config: str, words: list[str], sentence: str
) -> None:
    result = afterfill("log", "service", *words, "--config", config)
    assert (result.exit_code, sentence in result.stderr) == (2, True), result.stderr
