"""`export` and `replay`: the same fold over the same inputs gives the same bytes."""

import json
from pathlib import Path

import pytest

from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.records import EVENTS, Input, Reading, Stamp
from afterfill.service.recorder import Recorder
from afterfill.wire import rfc3339, unix_s
from cli_room import afterfill, line_probes, lines_of, write_config
from tank_stories import HOUR_S, ZERO_S, merged, pour, raw, refill, story

TANK = '[tank.t]\nlitres = 100\nlivestock = "warmwater"\n[tank.other]\nlitres = 50\n'


def stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose journal holds what the service recorded of a refill that carried over."""
    folder = tmp_path_factory.mktemp("room")
    path = write_config(folder, tanks=TANK, probes=line_probes("/dev/absent", tank="t", every_s=20))
    inputs = merged(
        story(2, [pour(1, 0.25, raw("chloramine", 2.0))]),
        [refill(1, litres=25, minutes=10, neutraliser_ml=0)],
    )
    config = load(path)
    recorder = Recorder(config, config.journal.path)
    _told(recorder, config.journal.path, inputs)
    recorder.close(stamp(ZERO_S + 3 * HOUR_S))
    return folder


def _told(recorder: Recorder, journal_path: Path, inputs: list[Input]) -> None:
    waiting: list[Reading] = []
    with Journal.open(journal_path) as people:
        for record in inputs:
            if isinstance(record, EVENTS):
                people.submit(record, stamp(record.time_s))
                recorder.inbox(stamp(record.time_s))
            elif isinstance(record, Reading):
                waiting.append(record)
                if record.quantity == "orp":
                    recorder.readings(waiting, stamp(record.time_s))
                    waiting = []


def in_room(room: Path, *arguments: str) -> list[str]:
    return [*arguments, "--config", str(room / "afterfill.toml"), "--tank", "t"]


@pytest.fixture(scope="module")
def recording(room: Path) -> Path:
    result = afterfill(*in_room(room, "export", str(room / "recording")))
    assert result.exit_code == 0
    assert "replay it with: afterfill replay " in result.stdout
    return room / "recording"


def test_a_replay_of_an_export_gives_the_live_findings_to_the_byte(
    room: Path, recording: Path, tmp_path: Path
) -> None:
    out = tmp_path / "replayed.jsonl"
    result = afterfill(*in_room(room, "replay", str(recording), "--out", str(out), "--json"))
    assert result.exit_code == 0
    assert out.read_bytes() == (recording / "verdicts.jsonl").read_bytes()
    counts = lines_of(result)[0]["lines"]
    assert counts["estimate"] > 100
    assert {"refill", "verdict", "alarm"} <= set(counts)


def test_the_findings_have_the_form_of_the_interfaces(recording: Path) -> None:
    wires = [json.loads(line) for line in (recording / "verdicts.jsonl").read_text().splitlines()]
    by_kind = {wire["kind"]: wire for wire in wires}
    assert set(by_kind) == {
        "estimate", "forecast", "refill", "verdict", "alarm", "standing", "probe-learnt",
        "source-belief", "refill-ready",
    }  # fmt: skip
    assert {"residual_mg_l", "p_over_limit", "detection_floor_mg_l", "sees", "why_blind"} <= set(
        by_kind["estimate"]
    )
    assert set(by_kind["refill"]) == {"kind", "time", "tank", "origin", "fraction"}
    assert {"refill_time", "verdict", "probability", "peak_residual_mg_l", "final"} <= set(
        by_kind["verdict"]
    )
    assert {"alarm", "state", "priority"} <= set(by_kind["alarm"])
    assert {wire["tank"] for wire in wires} == {"t"}
    times = [unix_s(wire["time"]) for wire in wires]
    assert times == sorted(times)


def test_a_span_exports_only_what_lies_in_it(room: Path, tmp_path: Path) -> None:
    begin, end = rfc3339(ZERO_S + 600), rfc3339(ZERO_S + 1200)
    result = afterfill(
        *in_room(room, "export", str(tmp_path / "span"), "--from", begin, "--to", end, "--json")
    )
    (answer,) = lines_of(result)
    rows = (tmp_path / "span" / "readings.csv").read_text().splitlines()[1:]
    assert answer["rows"] == len(rows) == 30  # one each 20 s
    assert rows[0].startswith(begin)
    assert all(row.split(",")[0] < end for row in rows)


def test_estimates_come_as_often_as_asked(room: Path, recording: Path) -> None:
    result = afterfill(*in_room(room, "replay", str(recording), "--out", "-", "--every", "600"))
    seconds = [
        wire["time"] for wire in map(json.loads, result.stdout.splitlines())
        if wire["kind"] == "estimate"
    ]  # fmt: skip
    assert len(seconds) == pytest.approx(12, abs=1)  # two hours


@pytest.mark.parametrize(
    ("csv", "sentence"),
    [
        ("time,orp_mv,ph\n", "the header lacks the column 'temperature_c'"),
        ("time,orp_mv,ph,temperature_c\n2026-03-01,300,7,25\n", "line 2: '2026-03-01' is not a"),
        ("time,orp_mv,ph,temperature_c\n2026-03-01T00:00:00Z,x,7,25\n", "'x' in column 'orp_mv'"),
        (None, "readings.csv is missing; a recording is a folder with it"),
    ],
)
def test_a_bad_recording_is_one_sentence_and_leaves_no_output(
    room: Path, tmp_path: Path, csv: str | None, sentence: str
) -> None:
    if csv is not None:
        (tmp_path / "readings.csv").write_text(csv)
    out = tmp_path / "out.jsonl"
    out.write_text("from before\n")
    result = afterfill(*in_room(room, "replay", str(tmp_path), "--out", str(out)))
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert result.stderr.count("\n") == 1
    assert out.read_text() == "from before\n"
    assert not list(tmp_path.glob("*.partial"))


def test_ignored_columns_are_told_once(room: Path, tmp_path: Path) -> None:
    head, row = "time,orp_mv,ph,temperature_c,light\n", "2026-03-01T00:00:0{}Z,300,7,25,1\n"
    (tmp_path / "readings.csv").write_text(head + row.format(0) + row.format(5))
    result = afterfill(*in_room(room, "replay", str(tmp_path), "--out", "-"))
    assert result.exit_code == 0
    assert result.stderr.count("ignored columns: light") == 1


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["replay", "{}", "--out", "-", "--every", "0"], "--every 0 is no interval"),
        (["replay", "{}", "--out", "{}/absent/out"], "cannot be written"),
        (["export", "{}/x", "--from", "2026-03-02T00:00:00Z", "--to", "2026-03-01T00:00:00Z"],
         "does not lie before --to"),
        (["export", "{}/x", "--from", "some day"], "'some day' is not a time"),
    ],
)  # fmt: skip
def test_wrong_use_is_one_sentence(
    room: Path, recording: Path, arguments: list[str], sentence: str
) -> None:
    result = afterfill(*in_room(room, *(part.format(recording) for part in arguments)))
    assert result.exit_code == 2
    assert sentence in result.stderr


def test_a_folder_that_cannot_be_written_is_one_sentence(room: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = afterfill(*in_room(room, "export", str(tmp_path / "file" / "rec")))
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr
