"""`trends`: sums by hand over months that begin on the keeper's own clock."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmChange,
    AlarmState,
    Calibration,
    Correction,
    Dose,
    Estimate,
    Quantiles,
    Record,
    Refill,
    SourceBelieved,
    StockLeft,
    Verdict,
    VerdictWord,
)
from afterfill.report.trends import Month, months
from cli_room import afterfill, lines_of, write_config
from sample_records import estimate, store

NOW_S = datetime(2026, 3, 20, tzinfo=UTC).timestamp()
SOME = Quantiles(0.01, 0.02, 0.05)


def at(month: int, day: int, hour: float = 12.0) -> float:
    return datetime(2026, month, day, tzinfo=UTC).timestamp() + 3600.0 * hour


def verdict(refill_s: float, word: VerdictWord, peak_mg_l: float, *, final: bool = True) -> Verdict:
    peak = Quantiles(peak_mg_l / 2, peak_mg_l, peak_mg_l * 2)
    return Verdict(refill_s + 6000.0, "window", refill_s, word, 0.5, peak, final)


def high(time_s: float, *, active: bool, state: AlarmState = "unacknowledged") -> AlarmChange:
    return AlarmChange(time_s, "window", "residual-oxidant", state, "high", active)


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    write_config(tmp_path)
    records: list[Record] = [
        Refill(at(1, 31, 23.5), "window", "replace", 30.0, 10.0, 4.0),
        verdict(at(1, 31, 23.5), "clear", 0.01),
        Refill(at(2, 10), "window", "replace", 20.0, 10.0, 3.0),
        verdict(at(2, 10), "possible", 0.2, final=False),
        verdict(at(2, 10), "carried-over", 0.3),
        Dose(at(2, 10, 13.0), "window", 2.0),
        high(at(2, 10), active=True),
        high(at(2, 10, 12.5), active=True, state="acknowledged"),  # the same alarm
        high(at(2, 10, 15.0), active=False, state="normal"),
        high(at(2, 11), active=True),
        Calibration(at(2, 12), "window", "ph", "", 0.97, -0.04),
        StockLeft(at(2, 12), "window", "bottle", 40.0, 100.0),
        SourceBelieved(at(3, 1), "window", "tap", "tap", "chloramine", SOME, None, 1, None, None,
                       False),
        Refill(at(3, 2), "window", "add", None, None, None),
    ]  # fmt: skip
    floors = {(2, 3): 0.2, (2, 4): 0.4, (2, 5): 0.3}
    records += [_floor(at(*day, hour=6.0), mg_l) for day, mg_l in floors.items()]
    opened = Journal.open(tmp_path / "afterfill.db")
    store(opened, *sorted(records, key=lambda record: record.time_s))
    return opened


def _floor(time_s: float, mg_l: float) -> Estimate:
    return replace(estimate(time_s), detection_floor_mg_l=mg_l, sees=mg_l < 0.4)


def test_each_month_has_its_own_sums(journal: Journal) -> None:
    january, february, march = months(journal, "window", 3, NOW_S, UTC)
    assert (len(january.refills), january.litres, january.count("clear")) == (1, 30.0, 1)
    assert (february.litres, february.neutraliser) == (20.0, 5.0)
    assert (february.count("carried-over"), february.count("possible")) == (1, 0), "final alone"
    assert february.highest is not None
    assert february.highest.peak_residual_mg_l.q50 == 0.3
    assert february.high_alarms == 2
    assert february.floor_mg_l == 0.3
    assert february.saw == pytest.approx(2 / 3)
    assert (february.left, len(february.works)) == (140.0, 1)
    assert march.tap_mg_l == SOME
    assert (len(march.refills), march.litres, march.floor_mg_l) == (1, 0.0, None)


def test_a_month_begins_on_the_keepers_own_clock(journal: Journal) -> None:
    """Half past eleven at night in UTC is the next month already an hour further east."""
    east = timezone(timedelta(hours=1))
    january, february, _ = months(journal, "window", 3, NOW_S, east)
    assert (len(january.refills), len(february.refills)) == (0, 2)


def test_an_alarm_that_holds_over_the_month_is_counted_once(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "j.db") as journal:
        store(
            journal, high(at(1, 31), active=True), high(at(2, 1), active=True, state="acknowledged")
        )
        found: list[Month] = months(journal, "window", 3, NOW_S, UTC)
    assert [month.high_alarms for month in found] == [1, 0, 0]


def test_the_months_run_over_a_new_year(journal: Journal) -> None:
    found = months(journal, "window", 15, NOW_S, UTC)
    begins = [datetime.fromtimestamp(month.from_s, UTC) for month in found]
    assert begins[0] == datetime(2025, 1, 1, tzinfo=UTC)
    assert all(a.to_s == b.from_s for a, b in pairwise(found)), "without a gap"
    assert found[-1].to_s == NOW_S


def test_the_command_tells_the_same_in_words_and_as_json(journal: Journal, tmp_path: Path) -> None:
    arguments = ["trends", "--months", "3", "--to", "2026-03-20T00:00:00Z"]
    arguments += ["--config", str(tmp_path / "afterfill.toml")]
    told = lines_of(afterfill(*arguments, "--json"))[0]
    assert [month["litres"] for month in told["months"]] == [30.0, 20.0, 0.0]
    assert told["months"][1]["detection_floor_mg_l"] == 0.3
    words = afterfill(*arguments)
    assert words.exit_code == 0
    assert "2026-02" in words.stdout
    assert "ph slope 0.97 offset -0.04" in " ".join(words.stdout.split())
    work = told["months"][1]["probe_works"][0]
    assert (work["kind"], work["quantity"], work["slope"]) == ("calibration", "ph", 0.97)
    assert "0.30 (0.15 to 0.60)" in words.stdout


def test_words_count_as_they_were_corrected(journal: Journal) -> None:
    wrong = next(e.seq for e in journal.entries(limit=99) if isinstance(e.record, Refill))
    store(journal, Correction(at(3, 3), "window", wrong))
    january, *_ = months(journal, "window", 3, NOW_S, UTC)
    assert (len(january.refills), january.litres, january.count("clear")) == (0, 0.0, 0)
