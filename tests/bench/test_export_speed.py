"""An export of a day: it has not become slower by much."""

from pathlib import Path

from bench.export_speed import measured

DAY_S = 0.5  # 0.06 as measured; a CI machine may be slow and busy; record by record it took 0.4


def test_a_day_is_exported_in_little_time(tmp_path: Path) -> None:
    found = measured(1.0, tmp_path)
    assert found["texts and files"] < DAY_S
    rows = (tmp_path / "recording" / "readings.csv").read_text().splitlines()
    assert len(rows) == 1 + 2 * 1440
    assert len((tmp_path / "recording" / "verdicts.jsonl").read_text().splitlines()) == 1440 + 48
