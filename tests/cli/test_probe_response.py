"""`probe response`: a virtual ORP probe in two cups, dipped by scripted answers."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from afterfill.journal.recording import read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.records import Quantity, ResponseCheck, Service
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import afterfill, inbox, line_probes, lines_of, record, write_config

CHLORAMINE = '[tank.window]\nlitres = 120\nsource = "tap"\n'
FAST = ["--still-seconds", "0.3", "--every", "0.05", "--most-minutes", "0.05"]


class Cups:
    """A probe head, and what its ORP shows after each Enter."""

    def __init__(self, folder: Path, *dips_mv: float) -> None:
        self.folder = folder
        self.dips_mv = list(dips_mv)
        self.now: dict[Quantity, float] = {"orp": 320.0, "ph": 7.4, "temperature": 25.0}
        self.drifts_mv = 0.0

    def measured(self) -> dict[Quantity, float]:
        self.now["orp"] += self.drifts_mv
        return self.now

    def prompt(self, _text: str, **_: object) -> str:
        self.now["orp"] = self.dips_mv.pop(0)
        return ""

    def run(self, *arguments: str) -> tuple[int, dict[str, Any], str]:
        config = str(self.folder / "afterfill.toml")
        result = afterfill("probe", "response", *FAST, "--config", config, *arguments, "--json")
        lines = lines_of(result)
        return result.exit_code, lines[0] if lines else {}, result.stderr


@pytest.fixture
def cups(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Cups]:
    made = Cups(tmp_path, 300.0, 420.0)
    monkeypatch.setattr(typer, "prompt", made.prompt)
    with PtyPort(LineDevice(made.measured), tmp_path / "head") as port:
        write_config(tmp_path, tanks=CHLORAMINE, probes=line_probes(port.link))
        yield made


def test_the_step_the_law_and_the_floor_before_and_after(cups: Cups) -> None:
    code, wire, said = cups.run("--residual", "1.8", "--ph", "8.1")
    assert code == 0
    assert (wire["kind"], wire["step_mv"], wire["step_sd_mv"]) == ("response-check", 120.0, 3.0)
    assert (wire["free_chlorine_mg_l"], wire["combined_chlorine_mg_l"]) == (0.0, 1.8)
    assert (wire["measured"], wire["ph"], wire["from"]) == (True, 8.1, "port")
    assert wire["expected_after_mv"] == pytest.approx(120.0, rel=0.03)
    assert abs(math.log(wire["expected_before_mv"] / 120.0)) > 0.1
    assert wire["floor_after_mg_l"] < 0.6 * wire["floor_before_mg_l"]
    assert "it must never get into the tank" in said


def test_the_service_hears_of_the_hand_first_and_then_of_the_check(cups: Cups) -> None:
    cups.run("--residual", "1.8")
    out, work, check, back = inbox(cups.folder)
    assert isinstance(work, Service)
    assert (out.what, out.quantity, out.minutes) == ("probe", "orp", 10.0)
    assert (work.what, work.minutes, back.minutes) == ("probe", None, 0.0)
    assert isinstance(check, ResponseCheck)
    assert (check.probe, check.step_mv, check.tank) == ("window-orp", 120.0, "window")


def test_without_a_kit_the_configured_residual_is_taken_for_typical(cups: Cups) -> None:
    _, wire, _ = cups.run()
    assert (wire["measured"], wire["combined_chlorine_mg_l"]) == (False, 2.0)


def test_a_probe_that_goes_on_moving_is_taken_as_less_sure(cups: Cups) -> None:
    cups.drifts_mv = 0.5
    code, wire, said = cups.run("--residual", "1.8")
    assert (code, wire["step_sd_mv"]) == (0, 10.0)
    assert "still moving after 0.05 min" in said


@pytest.mark.parametrize("raw_mv", [304.0, 180.0], ids=["dull", "cups swapped"])
def test_a_probe_that_does_not_answer_teaches_nothing(cups: Cups, raw_mv: float) -> None:
    cups.dips_mv = [300.0, raw_mv]
    code, wire, said = cups.run("--residual", "1.8")
    assert (code, wire) == (1, {})
    assert "nothing is taught. Were the cups swapped?" in said
    assert not any(isinstance(event, ResponseCheck) for event in inbox(cups.folder))


def test_a_person_reads_it_in_words(cups: Cups) -> None:
    config = str(cups.folder / "afterfill.toml")
    result = afterfill("probe", "response", *FAST, "--residual", "1.8", "--config", config)
    first, *rest = result.stdout.splitlines()
    assert first.startswith("window-orp: 120 mV for 1.8 mg/L")
    assert any(line.startswith("Detection floor after an announced refill:") for line in rest)


def test_a_check_is_in_a_recording_as_it_was(tmp_path: Path) -> None:
    check = ResponseCheck(1_772_350_200.0, "window", 120.0, 3.0, 0.0, 1.8, True, 8.1, "window-orp")
    record(tmp_path, check)
    with Journal.open(tmp_path / "afterfill.db", read_only=True) as journal:
        write_recording(journal, "window", 0.0, 2e9, tmp_path / "recording")
    assert list(read_recording(tmp_path / "recording", "window")) == [check]


@pytest.mark.parametrize(
    ("source", "arguments", "sentence"),
    [
        ("unknown", [], "it is not known whether the tap holds chlorine or chloramine"),
        ("chloramine", ["--residual", "0"], "0 mg/L in the raw water checks no response"),
        ("chloramine", ["--source", "well"], "there is no source 'well'"),
        ("chloramine", ["--probe", "window-ph"], "no orp probe of tank 'window' 'window-ph'"),
    ],
)
def test_a_wrong_use_gets_one_sentence_before_anybody_dips(
    cups: Cups, source: str, arguments: list[str], sentence: str
) -> None:
    file = cups.folder / "afterfill.toml"
    file.write_text(file.read_text().replace('"chloramine"', f'"{source}"'))
    code, _, said = cups.run(*arguments)
    assert code == 2
    assert sentence in said
    assert cups.dips_mv == [300.0, 420.0]
