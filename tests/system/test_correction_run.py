"""A wrong word, its correction, and a kill in between, with the real service and commands."""

import json
from pathlib import Path
from typing import Any

import pytest

from afterfill.records import AlarmChange, Correction, Dose
from system.live_service import LiveService

pytestmark = pytest.mark.system
_TAP = """
[source.tap]
disinfectant = "chloramine"
residual_mg_l = 2.0
"""


def listed(service: LiveService) -> list[dict[str, Any]]:
    shown = service.command("log", "list", "--json").stdout
    return [json.loads(line) for line in shown.splitlines()]


def is_raised(service: LiveService) -> bool:
    """Whether the alarm that a wrong dose raises holds."""
    told = service.alarms("neutraliser-excess")
    return bool(told) and told[-1][1]


def _is_raising(change: AlarmChange) -> bool:
    return change.alarm == "neutraliser-excess" and change.active


def test_a_wrong_dose_is_said_otherwise_while_the_service_runs(tmp_path: Path) -> None:
    with LiveService(tmp_path, speed=20.0, extra=_TAP) as service:
        service.start()
        service.wait_for_readings()
        asked = service.command("log", "dose", "--neutraliser-ml", "500")
        assert (asked.returncode, "if it is meant so, say --yes" in asked.stderr) == (2, True)
        assert service.command("log", "dose", "--neutraliser-ml", "500", "--yes").returncode == 0
        service.wait_for(lambda: is_raised(service), "a false alarm")
        (word,) = listed(service)
        assert word["said"] == "dose of 500 mL neutraliser"
        number = str(word["number"])
        said = service.command("log", "correct", number, "--neutraliser-ml", "2")
        assert said.returncode == 0, said.stderr
        service.wait_for(lambda: service.entries("correction"), "it is taken up")
        service.wait_for(lambda: not is_raised(service), "the false alarm is over")
        correction, old = listed(service)
        assert correction["said"] == f"instead of entry {number}: dose of 2 mL neutraliser"
        assert old["fate"] == f"corrected by {correction['number']}"
        service.wait_for_readings()
        again = service.command("log", "correct", number, "--remove")
        assert "corrected or taken back already" in again.stderr
        assert service.stop()[0] == 0
        assert sum(map(_is_raising, service.records("alarm"))) == 1
        assert [type(r) for r in service.records("dose", "correction")] == [Dose, Correction]


def test_a_kill_just_after_a_correction_was_said_loses_nothing(tmp_path: Path) -> None:
    with LiveService(tmp_path, speed=20.0, extra=_TAP) as service:
        service.start()
        service.wait_for_readings(60)
        assert service.command("log", "dose", "--neutraliser-ml", "500", "--yes").returncode == 0
        service.wait_for(lambda: is_raised(service), "a false alarm")
        number = str(listed(service)[0]["number"])
        assert service.command("log", "correct", number, "--remove").returncode == 0
        service.kill()
        before = len(service.entries("reading"))
        service.start()
        service.wait_for(lambda: service.entries("correction"), "it is taken up")
        service.wait_for(lambda: not is_raised(service), "the false alarm is over")
        service.wait_for_readings()
        assert len(service.entries("reading")) > before
        assert len(service.entries("correction")) == 1
        assert service.stop()[0] == 0
