from pathlib import Path

import pytest

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import Reading, Refill, Stamp
from afterfill.service.recorder import Recorder
from afterfill.service.rhythm import snapshot_every_s

START_S = 1_800_000_000.0


def stamp(second: int) -> Stamp:
    return Stamp(START_S + second, True, "boot", 100.0 + second)


def seen_each_second(path: Path, seconds: int, *, poured: bool) -> list[int]:
    """How many seconds old the newest committed reading is, second by second."""
    config = Config.model_validate(
        {
            "tank": {"t": {"litres": 100}},
            "source": {"tap": {"disinfectant": "chlorine", "residual_mg_l": 1.0}},
            "probe": [{"tank": "t", "quantity": "orp", "driver": "line", "port": "/dev/null"}],
        }
    )
    recorder, ages = Recorder(config, path), []
    with Journal.open(path) as other:
        if poured:
            other.submit(Refill(START_S, "t", "replace", 25.0), stamp(0))
        for second in range(seconds):
            recorder.inbox(stamp(second))
            recorder.readings([Reading(0.0, "t", "orp", 300.0, "t-orp")], stamp(second))
            recorder.save(stamp(second))
            newest = other.latest("reading", "t")
            ages.append(round(START_S + second - newest[0].record.time_s) if newest else second)
    recorder.close(stamp(seconds))
    return ages


def test_in_quiet_readings_are_seen_within_a_minute(tmp_path: Path) -> None:
    ages = seen_each_second(tmp_path / "j.db", 300, poured=False)
    assert max(ages[10:]) == pytest.approx(60, abs=2)


def test_while_a_refill_is_watched_readings_are_seen_within_ten_seconds(tmp_path: Path) -> None:
    ages = seen_each_second(tmp_path / "j.db", 300, poured=True)
    assert max(ages[10:]) == pytest.approx(10, abs=2)


def test_snapshots_of_many_tanks_come_oftener() -> None:
    assert [snapshot_every_s(tanks) for tanks in (1, 2, 4, 100)] == [3600, 1800, 900, 900]
