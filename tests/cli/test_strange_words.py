"""What is strange is asked about before it is taken: the command line and MQTT say the same."""

import json
from pathlib import Path
from typing import Any

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.sinks.mqtt.commands import Command, obey
from cli_room import afterfill, inbox, reading, record, write_config
from sample_records import now

# 120 L, at most 4 mg/L of chlorine (the legal maximum), 40 mg Cl2 per mL: 12 mL for all of it, and
# for 20 L 2 mL.
STRANGE: list[tuple[str, dict[str, Any], str]] = [
    ("refill", {"litres": 121.0}, "121 L replaced is more than tank 'window' holds (120 L)"),
    ("refill", {"litres": 20.0, "neutraliser_ml": 41.0},
     "41 mL of neutraliser is 20 times what 20 L need (2 mL)"),
    ("refill", {"neutraliser_ml": 241.0}, "241 mL of neutraliser is 20 times what 120 L need"),
    ("dose", {"neutraliser_ml": 500.0}, "500 mL of neutraliser is 42 times what 120 L need"),
    ("kit", {"total_chlorine_mg_l": 0.1, "free_chlorine_mg_l": 0.5},
     "free chlorine 0.5 mg/L is more than total chlorine 0.1 mg/L"),
    ("source-test", {"total_chlorine_mg_l": 1.0, "free_chlorine_mg_l": 1.5},
     "free chlorine 1.5 mg/L is more than total chlorine 1 mg/L"),
    ("kit", {"total_chlorine_mg_l": 25.0}, "25 mg/L of chlorine is more than taps and tanks hold"),
    ("kit", {"ph": 1.0}, "pH 1 is none of a fish tank"),
    ("kit", {"total_ammonia_mg_l": 50.0}, "50 mg/L of ammonia is more than test kits show"),
]  # fmt: skip
USUAL: list[tuple[str, dict[str, Any]]] = [
    ("refill", {"litres": 120.0}),
    ("refill", {"litres": 150.0, "mode": "add"}),
    ("refill", {"litres": 2.0, "neutraliser_ml": 24.0}),  # dosed for the whole tank, twice
    ("dose", {"neutraliser_ml": 200.0}),
    ("kit", {"total_chlorine_mg_l": 0.5, "free_chlorine_mg_l": 0.5}),
    ("kit", {"ph": 9.0, "total_ammonia_mg_l": 8.0}),
]
_OPTIONS = {
    "total_chlorine_mg_l": "total-chlorine",
    "free_chlorine_mg_l": "free-chlorine",
    "total_ammonia_mg_l": "total-ammonia",
}


def typed(kind: str, payload: dict[str, Any]) -> list[str]:
    options = [("--" + _OPTIONS.get(k, k.replace("_", "-")), str(v)) for k, v in payload.items()]
    return ["log", kind, *(part for option in options for part in option)]


def obeyed(path: Path, kind: str, payload: dict[str, Any]) -> dict[str, object]:
    command = Command(f"window/log/{kind}", json.dumps(payload).encode(), retained=False)
    with Journal.open(path.parent / "afterfill.db") as journal:
        return obey(command, config=load(path), alarms=DEFINITIONS, journal=journal, stamp=now())[1]


@pytest.mark.parametrize(("kind", "payload", "sentence"), STRANGE)
def test_what_is_strange_is_taken_only_if_it_is_meant_so(
    tmp_path: Path, kind: str, payload: dict[str, Any], sentence: str
) -> None:
    path = write_config(tmp_path)
    refused = afterfill(*typed(kind, payload), "--config", str(path))
    assert refused.exit_code == 2
    assert sentence in refused.stderr
    assert refused.stderr.rstrip().endswith("if it is meant so, say --yes")
    answer = obeyed(path, kind, payload)
    assert sentence in str(answer["error"])
    assert str(answer["error"]).endswith('if it is meant so, send it with "sure": true')
    assert obeyed(path, kind, {**payload, "sure": False})["ok"] is False
    assert inbox(tmp_path) == []
    assert afterfill(*typed(kind, payload), "--yes", "--config", str(path)).exit_code == 0
    assert obeyed(path, kind, {**payload, "sure": True})["ok"] is True
    one, other = inbox(tmp_path)
    assert type(one) is type(other)


@pytest.mark.parametrize(("kind", "payload"), USUAL)
def test_what_is_usual_is_taken_without_a_question(
    tmp_path: Path, kind: str, payload: dict[str, Any]
) -> None:
    path = write_config(tmp_path)
    assert afterfill(*typed(kind, payload), "--config", str(path)).exit_code == 0
    assert obeyed(path, kind, payload)["ok"] is True


@pytest.mark.parametrize(("reply", "taken"), [("y\n", 1), ("n\n", 0), ("\n", 0)])
def test_a_person_at_a_terminal_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reply: str, taken: int
) -> None:
    path = write_config(tmp_path)
    monkeypatch.setattr("afterfill.cli.log.told.is_asked", lambda: True)
    result = afterfill("log", "refill", "--litres", "130", "--config", str(path), stdin=reply)
    assert "130 L replaced is more than tank 'window' holds (120 L). Is it meant so?" in (
        result.stdout
    )
    assert len(inbox(tmp_path)) == taken
    assert result.exit_code == (0 if taken else 2)
    assert ("Nothing was logged." in result.stdout) is not taken


def test_a_time_before_the_journal_or_to_come_is_strange(tmp_path: Path) -> None:
    path = write_config(tmp_path)
    record(tmp_path, reading(now().time_s - 60.0))
    words = ("log", "dose", "--neutraliser-ml", "2", "--config", str(path), "--at")
    old = afterfill(*words, "2020-01-01T00:00:00Z")
    assert old.exit_code == 2
    assert "2020-01-01T00:00:00Z lies before the journal begins" in old.stderr
    to_come = afterfill(*words, "2999-01-01T00:00:00Z", "--yes")
    assert to_come.exit_code == 2
    assert "is still to come" in to_come.stderr
    assert afterfill(*words, "30 sec ago").exit_code == 0
    assert len(inbox(tmp_path)) == 1


def test_sure_is_yes_or_no(tmp_path: Path) -> None:
    answer = obeyed(write_config(tmp_path), "refill", {"litres": 5, "sure": "yes"})
    assert "key 'sure' is 'yes': write true or false" in str(answer["error"])
