"""`log list`, `log correct` and `log note`, and the same by MQTT: one check for both."""

import json
import time
from pathlib import Path
from typing import Any

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmCommand,
    Correction,
    Dose,
    Event,
    KitResult,
    Note,
    Refill,
    Service,
    Stock,
)
from afterfill.sinks.mqtt.commands import Command, obey
from cli_room import afterfill, inbox, lines_of, reading, record, write_config
from sample_records import now

NOW_S = round(time.time()) - 3600.0
POURED = Refill(NOW_S, "window", "replace", 25.0, 10.0, 5.0, "tap", NOW_S + 60.0)
TESTED = KitResult(NOW_S + 100.0, "window", 0.25, 0.5)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = write_config(tmp_path, tanks="[tank.window]\nlitres = 120\n[tank.trout]\nlitres = 300\n")
    record(
        tmp_path,
        reading(NOW_S - 600.0),
        POURED,
        TESTED,
        Dose(NOW_S + 200.0, "trout", 3.0),
        Correction(NOW_S + 300.0, "window", 3, KitResult(NOW_S + 100.0, "window", 0.25, 0.05)),
        AlarmCommand(NOW_S + 400.0, "window", "ph", "acknowledge"),
    )
    return path


def said(config: Path, *words: str) -> tuple[int, str]:
    result = afterfill("log", *words, "--config", str(config))
    return result.exit_code, (result.stdout or result.stderr).rstrip()


def by_mqtt(config: Path, payload: dict[str, Any], tank: str = "window") -> dict[str, object]:
    command = Command(f"{tank}/log/correction", json.dumps(payload).encode(), retained=False)
    with Journal.open(config.parent / "afterfill.db") as journal:
        return obey(command, config=load(config), alarms=DEFINITIONS, journal=journal, stamp=now())[
            1
        ]


def test_the_list_shows_the_newest_first_with_what_became_of_them(config: Path) -> None:
    _, text = said(config, "list", "--tank", "window")
    lines = [line for line in text.splitlines() if "chlorine" in line or "refill" in line]
    assert [line.split()[0] for line in lines] == ["5", "3", "2"]
    assert "instead of entry 3: kit: total ammonia 0.25 mg/L as N, total chlorine 0.05" in lines[0]
    assert lines[1].rstrip().endswith("corrected by 5")
    assert "refill of 25 L" in lines[2]
    assert "acknowledge" not in text


def test_the_list_as_json_of_all_tanks_and_no_more_than_asked_for(config: Path) -> None:
    rows = lines_of(afterfill("log", "list", "--json", "--config", str(config)))
    assert [(row["tank"], row["number"], row["holds"]) for row in rows] == [
        ("window", 5, True), ("window", 3, False), ("window", 2, True), ("trout", 4, True),
    ]  # fmt: skip
    assert rows[2]["word"]["litres"] == 25.0
    assert rows[1]["fate"] == "corrected by 5"
    few = lines_of(
        afterfill(
            "log", "list", "--json", "--limit", "1", "--tank", "window", "--config", str(config)
        )
    )
    assert [row["number"] for row in few] == [5]


def test_what_waits_for_the_service_is_listed_too(config: Path) -> None:
    assert said(config, "dose", "--tank", "trout", "--neutraliser-ml", "2")[0] == 0
    _, text = said(config, "list", "--tank", "trout")
    assert "waits" in text
    assert "waits for the service" in text


def test_values_that_are_not_named_stay_as_they_were(tmp_path: Path, config: Path) -> None:
    code, text = said(config, "correct", "2", "--litres", "6 US gal", "--not-known", "minutes")
    assert code == 0
    assert "corrected for tank window: instead of entry 2: refill of 22.71 L" in text
    (event,) = inbox(tmp_path)
    assert isinstance(event, Correction)
    assert event.of == 2
    word = event.word
    assert isinstance(word, Refill)
    assert word.litres == pytest.approx(22.712, abs=1e-3)
    assert word.minutes is None
    assert (word.time_s, word.logged_s) == (POURED.time_s, POURED.logged_s)
    assert (word.neutraliser_ml, word.source, word.mode) == (5.0, "tap", "replace")


def test_what_is_not_known_after_all_is_named_as_its_option(tmp_path: Path, config: Path) -> None:
    assert said(config, "correct", "5", "--not-known", "total-chlorine")[0] == 0
    (event,) = inbox(tmp_path)
    assert event.word.total_chlorine_mg_l is None
    assert event.word.total_ammonia_mg_l == 0.25
    code, text = said(config, "correct", "2", "--not-known", "litters")
    assert code == 2
    assert "unknown key 'litters'; did you mean 'litres'?" in text


def test_the_time_may_have_been_another_one_but_not_later_than_it_was_said(
    tmp_path: Path, config: Path
) -> None:
    assert said(config, "correct", "2", "--at", "65 min ago")[0] == 0
    (event,) = inbox(tmp_path)
    assert isinstance(event.word, Refill)
    assert event.word.time_s < POURED.time_s
    assert event.word.logged_s == POURED.logged_s
    code, text = said(config, "correct", "5", "--at", "10 min ago")
    assert code == 2
    assert "lies after the word was said; take the word back and say it again" in text


def test_the_tank_is_that_of_the_entry_unless_another_one_is_named(
    tmp_path: Path, config: Path
) -> None:
    assert said(config, "correct", "4", "--neutraliser-ml", "4")[0] == 0
    assert inbox(tmp_path)[0].tank == "trout"


REFUSED: list[tuple[list[str], dict[str, Any], str]] = [
    (["1", "--remove"], {"of": 1, "remove": True}, "entry 1 is no word that can be corrected"),
    (["6", "--remove"], {"of": 6, "remove": True}, "entry 6 is no word that can be corrected"),
    (["99", "--remove"], {"of": 99, "remove": True}, "there is no entry 99 in the journal"),
    (["3", "--remove"], {"of": 3, "remove": True},
     "entry 3 is corrected or taken back already; correct 5 instead"),
    (["4", "--remove", "--tank", "window"], {"of": 4, "remove": True},
     "entry 4 is of tank 'trout', not of 'window'"),
    (["2"], {"of": 2}, "a correction needs the corrected values, or remove"),
    (["2", "--litres", "25"], {"of": 2, "litres": 25}, "that is what was said already"),
    (["2", "--remove", "--litres", "2"], {"of": 2, "remove": True, "litres": 2},
     "either taken back (remove) or given other values"),
    (["2", "--ph", "7"], {"of": 2, "ph": 7}, "refill: unknown key 'ph'"),
    (["2", "--litres", "9999"], {"of": 2, "litres": 9999}, "at most 5 times the tank"),
    (["2", "--litres", "121"], {"of": 2, "litres": 121}, "if it is meant so"),
    (["2", "--source", "tpa"], {"of": 2, "source": "tpa"}, "did you mean 'tap'?"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "payload", "sentence"), REFUSED)
def test_what_cannot_be_corrected_is_refused_by_both_in_one_sentence(
    tmp_path: Path, config: Path, typed: list[str], payload: dict[str, Any], sentence: str
) -> None:
    code, text = said(config, "correct", *typed)
    assert code == 2
    assert sentence in text
    assert text.count("\n") == 0
    answer = by_mqtt(config, payload)
    assert answer["ok"] is False
    assert sentence in str(answer["error"])
    assert inbox(tmp_path) == []


@pytest.mark.parametrize("payload", [{}, {"of": "2"}, {"of": True}, {"of": 0}, {"of": 2.5}])
def test_a_correction_names_its_entry(config: Path, payload: dict[str, Any]) -> None:
    assert "key 'of'" in str(by_mqtt(config, payload)["error"])


def test_one_correction_at_a_time(config: Path) -> None:
    assert by_mqtt(config, {"of": 2, "neutraliser_ml": "6 ml"})["ok"] is True
    again = by_mqtt(config, {"of": 2, "remove": True})
    assert "a correction of entry 2 is on its way" in str(again["error"])


def test_a_note_is_a_text(tmp_path: Path, config: Path) -> None:
    code, text = said(config, "note", "new lamp", "--tank", "window")
    assert (code, "note: new lamp" in text) == (0, True)
    (note,) = inbox(tmp_path)
    assert isinstance(note, Note)
    assert note.text == "new lamp"
    for empty in ("", "  "):
        assert said(config, "note", empty, "--tank", "window")[0] == 2
    assert said(config, "note", "x" * 501, "--tank", "window")[0] == 2


@pytest.mark.parametrize(
    ("word", "options", "key", "value"),
    [
        (Dose(NOW_S, "window", 3.0), ["--neutraliser-ml", "4"], "neutraliser_ml", 4.0),
        (Service(NOW_S, "window", "probe"), ["--what", "lamp"], "what", "lamp"),
        (Stock(NOW_S, "window", "counted", 50.0), ["--neutraliser-ml", "500"], "neutraliser_ml",
         500.0),
        (KitResult(NOW_S, "window", None, 1.0), ["--total-chlorine", "0,1"], "total_chlorine_mg_l",
         0.1),
        (Note(NOW_S, "window", "a"), ["--text", "b"], "text", "b"),
    ],
)  # fmt: skip
def test_each_kind_has_its_options(
    tmp_path: Path, config: Path, word: Event, options: list[str], key: str, value: object
) -> None:
    record(tmp_path, word)
    with Journal.open(tmp_path / "afterfill.db", read_only=True) as journal:
        number = journal.last_seq()
    code, text = said(config, "correct", str(number), *options)
    assert code == 0, text
    assert getattr(inbox(tmp_path)[0].word, key) == value


def test_without_a_journal_there_is_nothing_to_list_or_correct(tmp_path: Path) -> None:
    path = write_config(tmp_path)
    for words in (["list"], ["correct", "1", "--remove"]):
        code, text = said(path, *words)
        assert code == 3
        assert "does not exist" in text
