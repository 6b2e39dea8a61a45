# ruff: noqa: E501 - one case a line, the file's own lines as they are
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.errors import RecordingError
from afterfill.journal.recording import Written, read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.records import (
    QUANTITIES,
    AlarmCommand,
    Dose,
    Event,
    Input,
    InvalidReason,
    KitResult,
    Quantity,
    Reading,
    Refill,
    Service,
    Stamp,
    Tick,
    known_since_s,
)
from record_strategies import events

HEADER = "time,orp_mv,ph,temperature_c"
T0 = 1_772_350_200.0  # 2026-03-01T07:30:00Z
END_S = 5e9


def reading(
    time_s: float, quantity: Quantity, value: float | None, invalid: InvalidReason | None
) -> Reading:
    return Reading(time_s, "window", quantity, value, invalid=invalid)


SOME_REASONS: tuple[InvalidReason, ...] = ("no-answer", "garbled", "port-lost")
some_readings = st.lists(
    st.tuples(
        st.integers(0, 50).map(lambda n: T0 + n / 4),
        st.sampled_from(QUANTITIES),
        st.one_of(st.floats(0, 14), st.sampled_from(SOME_REASONS)),
    ),
    max_size=12,
    unique_by=lambda r: (r[0], r[1]),
).map(
    lambda rows: [
        reading(t, q, v, None) if isinstance(v, float) else reading(t, q, None, v)
        for t, q, v in rows
    ]
)
some_ticks = st.lists(st.integers(51, 60).map(lambda n: Tick(T0 + n, "window")), unique=True)
some_events = st.lists(
    events.map(
        lambda e: replace(e, tank="window", logged_s=None if e.logged_s == e.time_s else e.logged_s)
    ),
    max_size=6,
)


def journal_of(folder: Path, inputs: list[Input]) -> Journal:
    journal = Journal.open(folder / "journal.db")
    for record in inputs:
        journal.append(record, Stamp(record.time_s, True, "boot", 0.0))
    journal.commit()
    return journal


def fold_order(inputs: list[Input]) -> list[Input]:
    """The order by definition, told apart from the streaming code under test."""

    def rank(record: Input) -> int:
        return 1 + QUANTITIES.index(record.quantity) if isinstance(record, Reading) else 0

    by_time = sorted(inputs, key=lambda r: (r.time_s, rank(r)))
    return sorted(by_time, key=lambda r: (known_since_s(r), isinstance(r, Reading | Tick)))


@settings(max_examples=60, deadline=None)
@given(readings=some_readings, ticks=some_ticks, said=some_events)
def test_a_recording_gives_back_what_the_journal_held_and_writes_the_same_bytes_again(
    tmp_path_factory: pytest.TempPathFactory,
    readings: list[Reading],
    ticks: list[Tick],
    said: list[Event],
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    first, second = folder / "first", folder / "second"
    inputs: list[Input] = [*readings, *ticks, *said]
    with journal_of(folder, inputs) as journal:
        write_recording(journal, "window", 0, END_S, first)
    read = list(read_recording(first, "window"))
    assert read == fold_order(inputs)

    (folder / "journal.db").unlink()
    with journal_of(folder, read) as journal:
        write_recording(journal, "window", 0, END_S, second)
    for name in ("readings.csv", "events.jsonl"):
        assert (first / name).read_bytes() == (second / name).read_bytes()


def test_events_of_one_time_are_written_in_the_order_in_which_they_became_known(
    tmp_path: Path,
) -> None:
    late, early = Dose(T0, "window", 1.0, logged_s=T0 + 60), Dose(T0, "window", 2.0)
    with journal_of(tmp_path, [late, early]) as journal:
        write_recording(journal, "window", T0, END_S, tmp_path)
    lines = (tmp_path / "events.jsonl").read_text().splitlines()
    assert ['"neutraliser_ml": 2.0' in line for line in lines] == [True, False]


def test_the_written_form_is_the_one_of_the_interface(tmp_path: Path) -> None:
    inputs: list[Input] = [
        Reading(T0, "window", "temperature", 25.0, "t-probe"),
        Reading(T0, "window", "orp", 312.5, "orp-probe", raw="ORP 312.5"),
        Tick(T0 + 60, "window"),
        Reading(T0 + 120.25, "window", "ph", None, invalid="no-answer"),
        Refill(T0 + 5, "window", "replace", 25.0, 10, None, "tap", logged_s=T0 + 50),
        KitResult(T0 + 6, "window", total_ammonia_mg_l=0.25),
        AlarmCommand(T0 + 7, "window", "residual-oxidant", "acknowledge"),
        AlarmCommand(T0 + 8, "window", "probe-lost", "shelve", 30.0),
        Dose(T0 + 9, "trout", 2.0),
        Dose(T0 + 1000, "window", 2.0),
    ]
    with journal_of(tmp_path, inputs) as journal:
        written = write_recording(journal, "window", T0, T0 + 1000, tmp_path / "out")
    assert written == Written(3, 4, 0)
    assert (tmp_path / "out/readings.csv").read_text() == (
        "time,orp_mv,ph,temperature_c,invalid\n"
        "2026-03-01T07:30:00Z,312.5,,25.0,\n"
        "2026-03-01T07:31:00Z,,,,\n"
        "2026-03-01T07:32:00.250Z,,,,ph:no-answer\n"
    )
    assert (tmp_path / "out/events.jsonl").read_text() == (
        '{"time": "2026-03-01T07:30:05Z", "kind": "refill", "mode": "replace", "litres": 25.0, '
        '"minutes": 10, "neutraliser_ml": null, "source": "tap", "logged": "2026-03-01T07:30:50Z"}\n'
        '{"time": "2026-03-01T07:30:06Z", "kind": "kit", "total_ammonia_mg_l": 0.25}\n'
        '{"time": "2026-03-01T07:30:07Z", "kind": "acknowledge", "alarm": "residual-oxidant"}\n'
        '{"time": "2026-03-01T07:30:08Z", "kind": "shelve", "alarm": "probe-lost", "minutes": 30.0}\n'
    )
    assert sorted(file.name for file in (tmp_path / "out").iterdir()) == [
        "events.jsonl",
        "readings.csv",
        "verdicts.jsonl",
    ]


def test_the_column_invalid_is_absent_when_nothing_was_invalid(tmp_path: Path) -> None:
    with journal_of(tmp_path, [reading(T0, "ph", 8.1, None)]) as journal:
        write_recording(journal, "window", T0, END_S, tmp_path)
    assert (tmp_path / "readings.csv").read_text() == f"{HEADER}\n2026-03-01T07:30:00Z,,8.1,\n"
    assert (tmp_path / "events.jsonl").read_text() == ""


def test_two_readings_of_one_quantity_at_one_time_make_two_rows(tmp_path: Path) -> None:
    twice: list[Input] = [reading(T0, "orp", 300.0, None), reading(T0, "orp", 301.0, None)]
    with journal_of(tmp_path, twice) as journal:
        write_recording(journal, "window", T0, END_S, tmp_path)
    assert list(read_recording(tmp_path, "window")) == twice


class Folder:
    """A recording folder whose files a test writes by hand."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notices: list[str] = []

    def csv(self, text: str) -> "Folder":
        (self.path / "readings.csv").write_bytes(text.encode())
        return self

    def events(self, text: str) -> "Folder":
        (self.path / "events.jsonl").write_bytes(text.encode())
        return self

    def read(self) -> list[Input]:
        return list(read_recording(self.path, "window", notice=self.notices.append))


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def test_byte_order_mark_carriage_returns_blank_lines_and_offsets_are_accepted(
    folder: Folder,
) -> None:
    folder.csv(f"\ufeff{HEADER}\r\n2026-03-01T08:30:00+01:00,312.5, ,25\r\n\r\n")
    folder.events(
        '\ufeff{"time": "2026-03-01T07:29:00Z", "kind": "service", "what": "probe"}\r\n\r\n'
    )
    assert folder.read() == [
        Service(T0 - 60, "window", "probe"),
        reading(T0, "temperature", 25.0, None),
        reading(T0, "orp", 312.5, None),
    ]
    assert folder.notices == []


def test_no_events_file_means_no_events_and_a_header_alone_means_nothing_read(
    folder: Folder,
) -> None:
    assert folder.csv(f"{HEADER}\n").read() == []


def test_further_columns_are_ignored_with_one_notice(folder: Folder) -> None:
    folder.csv(
        "time,flow,orp_mv,ph,temperature_c,light\n"
        "2026-03-01T07:30:00Z,1,300,,,x\n2026-03-01T07:30:01Z,1,,,,x\n"
    )
    assert folder.read() == [reading(T0, "orp", 300.0, None), Tick(T0 + 1, "window")]
    assert len(folder.notices) == 1
    assert folder.notices[0].endswith("ignored columns: flow, light")


def test_a_number_that_no_probe_can_mean_is_an_invalid_reading(folder: Folder) -> None:
    folder.csv(f"{HEADER}\n2026-03-01T07:30:00Z,,14.5,\n")
    assert folder.read() == [reading(T0, "ph", None, "out-of-range")]


def test_an_event_is_seen_when_it_became_known(folder: Folder) -> None:
    folder.csv(f"{HEADER}\n2026-03-01T07:30:00Z,300,,\n2026-03-01T07:31:00Z,301,,\n")
    folder.events(
        '{"time": "2026-03-01T07:31:00Z", "kind": "dose", "neutraliser_ml": 1}\n'
        '{"time": "2026-03-01T07:00:00Z", "kind": "dose", "neutraliser_ml": 2, '
        '"logged": "2026-03-01T07:30:30Z"}\n'
    )
    assert [type(r).__name__ + str(getattr(r, "neutraliser_ml", "")) for r in folder.read()] == [
        "Reading",
        "Dose2.0",
        "Dose1.0",
        "Reading",
    ]


ROW = "2026-03-01T07:30:00Z"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "line 1: the file is empty; it begins with the header time,orp_mv,ph,temperature_c"),
        ("time,orp,ph,temperature_c\n", "line 1: the header lacks the column 'orp_mv'; did you mean 'orp'?"),
        ("time,ph,ph,orp_mv,temperature_c\n", "line 1: the header names the column 'ph' twice"),
        (f"{HEADER}\n{ROW},300,,\n{ROW},3o0,,\n", "line 3: '3o0' in column 'orp_mv' is not a number; leave the cell empty where nothing was read"),
        (f"{HEADER}\n{ROW},nan,,\n", "line 2: 'nan' in column 'orp_mv' is not a number"),
        (f"{HEADER}\n{ROW},300,5,8,1,25\n", "line 2: has 6 cells where the header has 4"),
        (f"{HEADER}\n2026-03-01 07:30,300,,\n", "line 2: '2026-03-01 07:30' is not a time"),
        (f"{HEADER}\n{ROW},1,,\n2026-03-01T07:29:59Z,1,,\n", "line 3: its time 2026-03-01T07:29:59Z lies before that of the row above; sort the rows by time"),
        (f"{HEADER},invalid\n{ROW},,,,orp:no-anser\n", "line 2: 'orp:no-anser' in column 'invalid' is not known; did you mean 'no-answer'?"),
        (f'{HEADER}\n{ROW},"300,,\n', "line 2: unexpected end of data"),
    ],
    ids=["empty", "header", "twice", "number", "nan", "cells", "time", "order", "reason", "quote"],
)  # fmt: skip
def test_a_mistake_in_the_readings_is_named_with_its_line(
    folder: Folder, text: str, sentence: str
) -> None:
    with pytest.raises(RecordingError) as caught:
        folder.csv(text).read()
    assert sentence in str(caught.value)
    assert "readings.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ("{time", "line 2: not JSON"),
        ("[1]", "line 2: not a JSON object; write one object a line"),
        ('{"kind": "dose"}', "line 2: key 'time' is missing"),
        (f'{{"time": "{ROW}"}}', "line 2: key 'kind' is missing"),
        (f'{{"time": "{ROW}", "kind": "refil"}}', "line 2: 'refil' is not a kind of event; did you mean 'refill'?"),
        (f'{{"time": "{ROW}", "kind": "refill", "liters": 5}}', "line 2: refill: unknown key 'liters'; did you mean 'litres'?"),
        (f'{{"time": "{ROW}", "kind": "shelve", "minutes": 5}}', "line 2: key 'alarm' is missing"),
        (f'{{"time": "{ROW}", "kind": "dose"}}', "line 2: dose: key 'neutraliser_ml' is missing"),
        ('{"time": 5, "kind": "dose"}', "line 2: '5' is not a time"),
        (f'{{"time": "{ROW}", "kind": []}}', "line 2: '[]' is not a kind of event"),
    ],
    ids=["json", "array", "time", "kind", "kind-name", "key", "alarm", "value", "number", "list"],
)  # fmt: skip
def test_a_mistake_in_the_events_is_named_with_its_line(
    folder: Folder, line: str, sentence: str
) -> None:
    folder.csv(f"{HEADER}\n")
    with pytest.raises(RecordingError) as caught:
        folder.events(f"\n{line}\n").read()
    assert sentence in str(caught.value)
    assert "events.jsonl" in str(caught.value)


def test_missing_readings_are_an_error(folder: Folder) -> None:
    with pytest.raises(RecordingError, match=r"readings.csv is missing"):
        folder.events("").read()


def test_bytes_that_are_no_text_are_an_error(folder: Folder) -> None:
    (folder.path / "readings.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RecordingError, match="cannot be read"):
        folder.read()


def test_a_folder_that_cannot_be_written_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with (
        journal_of(tmp_path, []) as journal,
        pytest.raises(RecordingError, match="cannot be written"),
    ):
        write_recording(journal, "window", 0, END_S, tmp_path / "file")
