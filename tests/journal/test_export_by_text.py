"""An export reads blocks as text; it writes the same bytes as one that makes each record."""

import csv
import io
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.journal import blocks, spans, survey
from afterfill.journal.block import BULK
from afterfill.journal.block_text import usual_texts
from afterfill.journal.codec import body_of
from afterfill.journal.recorded_readings import COLUMNS
from afterfill.journal.recording import TEXT_KINDS, Written, write_recording
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.records import (
    QUANTITIES,
    Dose,
    Estimate,
    Forecast,
    Health,
    Quantiles,
    Reading,
    Record,
    Stamp,
    Standing,
    Tick,
)
from afterfill.wire import rfc3339, to_line, to_published

T0_S = 1_772_350_200.0
END_S = 5e9
TANKS = ("window", 'a "trout" 5 %, Ö')

times_s = st.integers(0, 40).map(lambda n: T0_S + n * 7.5 + (n % 3) / 1000)
tanks = st.sampled_from(TANKS)
values = st.sampled_from([7.1, 7.25, 312.5, 25.0, 25.0625, -3.125, 8, 1e-7]) | st.floats(-5, 400)
readings = st.builds(Reading, times_s, tanks, st.sampled_from(QUANTITIES), values,
                     st.sampled_from(["", "window-orp", "Ö", 'a"b\\']))  # fmt: skip
failures = st.builds(Reading, times_s, tanks, st.sampled_from(QUANTITIES), st.none(), st.just("p"),
                     st.sampled_from(["no-answer", "port-lost", None]), st.just("3f"))  # fmt: skip
numbers = st.sampled_from([0.0, 0.031095, 6.9515e-05, 1e22, 3, -0.5])
quantiles = st.builds(Quantiles, numbers, numbers, numbers)
said = st.none() | st.sampled_from(["", "air", ":", "a,", ',":', '"', "2026-03-01T07:30:00Z"])
known_or_not = st.none() | quantiles
estimates = st.builds(
    Estimate, times_s, tanks, quantiles, quantiles, quantiles, quantiles, known_or_not, numbers,
    st.none() | numbers, st.booleans(), said,
)  # fmt: skip
forecasts = st.builds(
    Forecast, times_s, tanks, st.just(24.0), st.none() | times_s, st.none() | times_s,
    known_or_not, st.none() | times_s, st.booleans(),
)  # fmt: skip
others = (
    st.builds(Tick, times_s, tanks)
    | st.builds(Dose, times_s, tanks, numbers)
    | st.builds(Health, times_s, tanks, said.map(str), st.booleans(), st.none(), st.just(0))
    | st.builds(Standing, times_s, tanks, st.just("safe"), times_s, st.just(""), st.booleans(),
                st.none())
)  # fmt: skip
anything = st.one_of(readings, readings, readings, failures, estimates, forecasts, others)
in_order = st.lists(st.lists(anything, min_size=1, max_size=6), max_size=8).map(
    lambda commits: [sorted(commit, key=lambda r: r.time_s) for commit in commits]
)
histories = in_order | st.lists(st.lists(anything, min_size=1, max_size=6), max_size=8)
# Of the usual form: one tank, nothing failed, nothing blind; times go back and forth.
usual_readings = st.builds(
    Reading, times_s, st.just(TANKS[0]), st.just("orp"), st.sampled_from([7, 8, 9]) | values
)
usual_ones = usual_readings | estimates.map(lambda e: replace(e, tank=TANKS[0], why_blind=None))
histories |= st.lists(st.lists(usual_ones, min_size=1, max_size=4), max_size=3)
bounds_s = st.sampled_from([0.0, T0_S + 60.0, T0_S + 150.001, END_S])


@pytest.fixture(autouse=True)
def short_spans() -> Iterator[None]:
    """Spans after two commits and blocks of few rows, so that short histories have several."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(spans, "_COMMITS", 2)
        patch.setattr(blocks, "_MOST_ROWS", 5)
        patch.setattr(survey, "_PAUSE_S", 0.0)
        yield


def kept(path: Path, commits: list[list[Record]]) -> None:
    """Write them; the last commits may stay in the tail."""
    journal = Journal.open(path)
    for commit in commits:
        for record in commit:
            journal.append(record, Stamp(record.time_s, True, "boot", 0.0))
        journal.commit(flush=False)
    journal.abandon()


def record_by_record(
    journal: Journal, tank: str, from_s: float, to_s: float
) -> tuple[Written, str, str]:
    """The counts, `readings.csv` and `verdicts.jsonl` by way of records."""
    found = [e.record for e in journal.between(tank, from_s, to_s, kinds=TEXT_KINDS)]
    came_in = [r for r in found if isinstance(r, Reading | Tick)]
    lines = [to_line(to_published(r)) for r in found if not isinstance(r, Reading | Tick)]
    with_invalid = any(isinstance(r, Reading) and r.invalid for r in came_in)
    rows = [row for _, group in groupby(came_in, key=lambda r: r.time_s) for row in rows_of(group)]
    text, until = io.StringIO(), None if with_invalid else -1
    out = csv.writer(text, lineterminator="\n")
    out.writerows(row[:until] for row in [["time", *COLUMNS.values(), "invalid"], *rows])
    doses = len(list(journal.between(tank, from_s, to_s, kinds=("dose",))))
    return Written(len(rows), doses, len(lines)), text.getvalue(), "".join(f"{s}\n" for s in lines)


def rows_of(group: Iterator[Reading | Tick]) -> list[list[str]]:
    """The rows of one time."""
    rows: list[dict[str, Reading]] = [{}]
    for record in group:
        time = rfc3339(record.time_s)
        if isinstance(record, Reading):
            if record.quantity in rows[-1]:
                rows.append({})
            rows[-1][record.quantity] = record
    return [[time, *(_cell(row.get(q)) for q in COLUMNS), _invalid(row)] for row in rows]


def _cell(reading: Reading | None) -> str:
    return "" if reading is None or reading.value is None else repr(reading.value)


def _invalid(row: dict[str, Reading]) -> str:
    failed = [f"{q}:{r.invalid or 'no-answer'}" for q, r in row.items() if r.value is None]
    return " ".join(sorted(failed))


@settings(max_examples=100, deadline=None)
@given(histories, bounds_s, bounds_s, st.sets(st.integers(0, 9), max_size=2), st.booleans())
def test_an_export_by_text_is_an_export_record_by_record(
    tmp_path_factory: pytest.TempPathFactory,
    commits: list[list[Record]],
    one_s: float,
    other_s: float,
    spoilt: set[int],
    whole: bool,
) -> None:
    folder = tmp_path_factory.mktemp("export")
    path = folder / "journal.db"
    kept(path, commits)
    from_s, to_s = (0.0, END_S) if whole else sorted((one_s, other_s))
    with closing(sqlite3.connect(path)) as db:
        numbers = [n for (n,) in db.execute("SELECT last_seq FROM block ORDER BY last_seq")]
        for number in (numbers[n] for n in spoilt if n < len(numbers)):
            db.execute("UPDATE block SET body = body || x'00' WHERE last_seq = ?", (number,))
        db.commit()
    with Journal.open(path, read_only=True) as journal:
        for tank in TANKS:
            expected, rows, lines = record_by_record(journal, tank, from_s, to_s)
            assert write_recording(journal, tank, from_s, to_s, folder) == expected
            assert (folder / "readings.csv").read_text() == rows
            assert (folder / "verdicts.jsonl").read_text() == lines
        known = journal.sound_blocks
        assert journal.undecodable == 0
    assert known.isdisjoint(numbers[n] for n in spoilt if n < len(numbers))
    assert surveyed(path, alone=False, known=known) == surveyed(path, alone=False)


def test_what_the_service_writes_is_of_the_usual_form(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    some = Quantiles(0.0, 0.01, 6.9515e-05)
    commit: list[Record] = [
        *(Reading(T0_S, "window", q, 25.01, "p") for q in QUANTITIES),
        Estimate(T0_S, "window", some, some, some, some, None, 0.0, 0.03, True, None),
        Forecast(T0_S, "window", 24.0, T0_S, None, some, T0_S + 60.25),
        Health(T0_S + 5, "window", "probe p", True, 0.5, 0),
        *(Reading(T0_S + 30, "window", q, 25.5, "p") for q in QUANTITIES),
        Reading(T0_S + 45, "window", "orp", 300.1, "other"),
        Tick(T0_S + 50, "window"),
    ]  # fmt: skip
    assert all(isinstance(record, BULK) for record in commit)
    kept(tmp_path / "journal.db", [commit])
    monkeypatch.setattr("afterfill.journal.contents.text_of", body_of)  # which is no text
    monkeypatch.setattr(blocks, "_MOST_ROWS", 1000)
    with Journal.open(tmp_path / "journal.db", read_only=True) as journal:
        texts = list(journal.texts_between("window", 0.0, END_S, kinds=TEXT_KINDS))
    assert [text[1] for text in texts] == [
        *QUANTITIES, "finding", "finding", *QUANTITIES, "orp", "tick",
    ]  # fmt: skip


def test_a_block_that_cannot_be_unpacked_is_left_to_the_general_way() -> None:
    assert usual_texts("window", b"no block", TEXT_KINDS) is None
