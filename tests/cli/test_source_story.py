"""The utility doubles its level, and a kit says so: `now`, `plan` and the next verdict know it."""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.records import Input, Reading, Verdict
from afterfill.service.recorder import Recorder
from cli_room import afterfill, lines_of, written_at
from tank_stories import HOUR_S, ZERO_S, pour, raw, story

HOURS = 4.0
CONFIG = """
[tank.t]
litres = 100
livestock = "warmwater"
top_off = "told"
[source.tap]
disinfectant = "chloramine"
residual_mg_l = 2.0
residual_max_mg_l = 3.0
temperature_c = 15
[neutraliser.n]
agent = "thiosulfate"
mg_cl2_per_ml = 40
"""


class Room:
    """A service that reads a tank into which half-treated water of 4 mg/L comes after 2 hours."""

    def __init__(self, folder: Path) -> None:
        self.config = folder / "afterfill.toml"
        self.config.write_text(CONFIG)
        self._journal = folder / "afterfill.db"
        self._recorder = Recorder(load(self.config), self._journal)
        self._later_s = time.time() - HOURS * HOUR_S - ZERO_S
        self._readings = iter(story(HOURS, [pour(2, 0.25, raw("chloramine", 2.0))]))
        self._next: Input | None = next(self._readings)

    def at_h(self, hours: float) -> str:
        """A time of this story, as a person writes it."""
        return f"{(HOURS - hours) * 60.0} min ago"

    def reads_until(self, hours: float) -> None:
        """Time passes."""
        while isinstance(self._next, Reading) and self._next.time_s < ZERO_S + hours * HOUR_S:
            time_s = self._next.time_s + self._later_s
            self._recorder.readings([replace(self._next, time_s=time_s)], written_at(time_s))
            self._next = next(self._readings, None)
        self._recorder.save(written_at(ZERO_S + hours * HOUR_S + self._later_s))

    def tells(self, hours: float, *arguments: str) -> None:
        """A person types a command, and the service takes it up."""
        result = afterfill("log", *arguments, "--config", str(self.config))
        assert result.exit_code == 0, result.output
        stamp = written_at(ZERO_S + hours * HOUR_S + self._later_s)
        self._recorder.inbox(stamp)
        self._recorder.save(stamp)

    def plan(self) -> dict[str, Any]:
        """What `plan` says of 25 L."""
        arguments = ("--litres", "25", "--tank-ph", "7.4", "--config", str(self.config), "--json")
        (line,) = lines_of(afterfill("plan", *arguments))
        return line

    def first_verdict(self) -> Verdict:
        """The first word on the refill."""
        with Journal.open(self._journal) as journal:
            entries = journal.latest("verdict", "t", 99)
        verdicts = [it.record for it in entries if isinstance(it.record, Verdict)]
        return verdicts[-1]

    def close(self) -> None:
        self._recorder.close(written_at(time.time()))


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    made = Room(tmp_path)
    yield made
    made.close()


def poured(room: Room) -> None:
    room.reads_until(2.0)
    refill = ("--litres", "25", "--minutes", "10", "--neutraliser-ml", "1.5")
    room.tells(2.0, "refill", *refill, "--at", room.at_h(2.0))
    room.reads_until(2.5)


def test_a_doubled_level_is_in_the_next_plan_and_in_now(room: Room) -> None:
    room.reads_until(1.0)
    before = room.plan()
    room.tells(1.0, "source-test", "--total-chlorine", "4", "--at", room.at_h(1.0))
    room.reads_until(1.1)
    after = room.plan()
    assert before["residual"]["untreated_mg_l"]["q50"] == pytest.approx(0.5)
    assert after["residual"]["untreated_mg_l"]["q50"] > 0.8
    said = {used["what"]: used["origin"] for used in after["used"]}["its residual"]
    assert said.startswith("by a test or refill ")
    result = afterfill("now", "--config", str(room.config), "--json")
    (source,) = lines_of(result)[0]["sources"]
    assert source["residual_mg_l"]["q50"] > 3.2
    assert source["learnt_age_s"] == pytest.approx(3 * HOUR_S, abs=120.0)
    assert "source tap" in afterfill("now", "--config", str(room.config)).stdout


def test_a_doubled_level_is_in_the_next_verdict(tmp_path: Path) -> None:
    """What the mass balance says for a carry-over, in natural-log odds."""
    chances = []
    for name in ("untold", "told"):
        folder = tmp_path / name
        folder.mkdir()
        room = Room(folder)
        room.reads_until(1.0)
        if name == "told":
            room.tells(1.0, "source-test", "--total-chlorine", "4", "--at", room.at_h(1.0))
        poured(room)
        said = {part.source: part.log_odds for part in room.first_verdict().evidence}
        chances.append(said["mass balance"])
        room.close()
    assert chances[1] > chances[0] + 0.3
