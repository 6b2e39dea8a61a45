"""Slips by a factor of a hundred: the command line and MQTT say the same."""

from pathlib import Path
from typing import Any

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config_file import load
from afterfill.errors import PayloadError
from afterfill.journal.recording import read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.payloads import event_from
from afterfill.plausible import refuse_slips
from afterfill.records import Refill
from afterfill.sinks.mqtt.commands import Command, obey
from cli_room import afterfill, inbox, record, write_config
from sample_records import now

SLIPS: list[tuple[str, dict[str, Any], str]] = [
    ("refill", {"litres": 99999.0}, "99999 L into tank 'window' of 120 L cannot be meant"),
    ("refill", {"litres": 601.0}, "at most 5 times the tank"),
    ("refill", {"litres": "200 US gal"}, "757.082 L into tank 'window' of 120 L"),
    ("refill", {"neutraliser_ml": 99_999.0 * 1.3}, "less than or equal to 100000"),
    ("refill", {"minutes": 4320.0}, "less than or equal to 1440"),
    ("refill", {"source": "tpa"}, "there is no source 'tpa'; did you mean 'tap'?"),
    ("refill", {"source": "ocean"}, "there is no source 'ocean'; known here: tap"),
]
HOLDS_5 = "of neutraliser is more than tank 'window' of 5 L can hold"
SMALL: list[tuple[str, dict[str, Any], str]] = [
    ("refill", {"neutraliser_ml": 5001.0}, f"5001 mL {HOLDS_5}"),
    ("dose", {"neutraliser_ml": 60000.0}, f"60000 mL {HOLDS_5}"),
]
CASES = [(case, "") for case in SLIPS] + [(case, "[tank.window]\nlitres = 5\n") for case in SMALL]


@pytest.mark.parametrize(("case", "tanks"), CASES)
def test_a_slip_is_refused_by_both_with_the_same_words(
    tmp_path: Path, case: tuple[str, dict[str, Any], str], tanks: str
) -> None:
    kind, payload, sentence = case
    path = write_config(tmp_path, tanks=tanks)
    options = [part for k, v in payload.items() for part in (f"--{k.replace('_', '-')}", str(v))]
    typed = afterfill("log", kind, *options, "--config", str(path))
    assert (typed.exit_code, sentence in typed.stderr) == (2, True), typed.stderr
    command = Command(f"window/log/{kind}", str(payload).replace("'", '"').encode(), retained=False)
    with Journal.open(tmp_path / "afterfill.db") as journal:
        _, answer = obey(
            command, config=load(path), alarms=DEFINITIONS, journal=journal, stamp=now()
        )
    assert sentence in str(answer["error"])
    assert inbox(tmp_path) == []


@pytest.mark.parametrize(
    "payload",
    [{"litres": 600.0}, {"litres": 120.0, "neutraliser_ml": 120.0, "source": "tap"}, {},
     {"minutes": 1440.0}],
)  # fmt: skip
def test_what_can_be_meant_is_taken(tmp_path: Path, payload: dict[str, Any]) -> None:
    config = load(write_config(tmp_path))
    refuse_slips(event_from("refill", payload, tank="window", time_s=1.8e9), config)


def test_a_plan_refuses_what_no_tank_holds(tmp_path: Path) -> None:
    path = str(write_config(tmp_path))
    water = afterfill("plan", "--litres", "99999", "--config", path)
    assert water.exit_code == 2
    assert "at most the tank's 120 L" in water.stderr
    bottle = afterfill("plan", "--litres", "20", "--dose-ml", "200000", "--config", path)
    assert bottle.exit_code == 2
    assert "200000 mL of neutraliser is more than tank 'window' of 120 L can hold" in bottle.stderr


def test_a_recording_stays_readable(tmp_path: Path) -> None:
    flood = Refill(1_772_350_200.0, "window", "replace", 99999.0, source="gone")
    record(tmp_path, flood)
    with Journal.open(tmp_path / "afterfill.db", read_only=True) as journal:
        write_recording(journal, "window", 0.0, 2e9, tmp_path / "recording")
    assert list(read_recording(tmp_path / "recording", "window")) == [flood]
    with pytest.raises(PayloadError):
        refuse_slips(flood, load(write_config(tmp_path)))
