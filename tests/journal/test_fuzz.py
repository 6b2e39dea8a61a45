"""Whatever bytes come from a probe, a file or a recording: a value, a reason, or a named error."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.config_file import parse
from afterfill.errors import ConfigError, PayloadError, RecordingError
from afterfill.journal.recording import read_recording
from afterfill.wire import from_wire
from afterfill_drivers.line.frames import LineBuffer, without_echo
from afterfill_drivers.modbus.frames import Question, understand
from afterfill_drivers.onewire.frames import from_temperature, from_w1_slave

bounded = settings(max_examples=150, deadline=None, derandomize=True, database=None)
CSV = "time,orp_mv,ph,temperature_c\n2026-03-01T07:30:00Z,312.5,7.1,25.0\n"
EVENT = '{"kind":"refill","time":"2026-03-01T07:30:00Z","mode":"add","litres":5}\n'
TOML = "[tank.t]\nlitres = 100\n[journal]\nkeep_days = 400\n"


@st.composite
def spoilt(draw: st.DrawFn, good: str) -> bytes:
    """A good file in which some bytes were overwritten, cut out or put in."""
    data = bytearray(good.encode())
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(data)))
        data[at : at + draw(st.integers(0, 12))] = draw(st.binary(max_size=12))
    return bytes(data)


def test_the_good_files_are_good(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text(CSV)
    (tmp_path / "events.jsonl").write_text(EVENT)
    assert len(list(read_recording(tmp_path, "t"))) == 4
    assert parse(TOML, "afterfill.toml").journal.keep_days == 400


@bounded
@given(csv=st.one_of(spoilt(CSV), st.binary(max_size=200)), events=spoilt(EVENT))
def test_a_recording(tmp_path_factory: pytest.TempPathFactory, csv: bytes, events: bytes) -> None:
    folder = tmp_path_factory.mktemp("recording")
    (folder / "readings.csv").write_bytes(csv)
    (folder / "events.jsonl").write_bytes(events)
    said = ""
    try:
        list(read_recording(folder, "t"))
    except RecordingError as error:
        said = str(error)
    assert said.isprintable()


@bounded
@given(text=st.one_of(spoilt(TOML).map(lambda b: b.decode("utf-8", "replace")), st.text()))
def test_a_configuration(text: str) -> None:
    said = objection(text)
    assert said is None or said.isprintable()


# What a table may hold in the wrong place, as TOML.
ODD = [
    "true", "-1", "1e999", "nan", "9" * 400, "''", "'30 gal'", "'x'", "[]", "[1]", "[[1]]",
    "{}", "{ ml = 'x' }", "[{ tank = 1 }]", "2026-11-25", "2026-11-25T10:00:00Z", "07:30:00",
]  # fmt: skip


def test_a_name_of_two_lines_makes_no_sentence_of_two(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text('"ti\nme",orp_mv\n2026-03-01T07:30:00Z,312.5\n')
    (tmp_path / "events.jsonl").write_text(EVENT)
    with pytest.raises(RecordingError, match=r"did you mean 'ti\\nme'") as caught:
        list(read_recording(tmp_path, "t"))
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    "wire",
    [{"kind": {}}, {"kind": "verdict", "evidence": "x"}, {"kind": "estimate", "residual_mg_l": {}}],
)
def test_a_record_of_another_form_is_refused_by_name(wire: dict[str, object]) -> None:
    with pytest.raises(PayloadError):
        from_wire(wire)


def readmes_configuration() -> str:
    text = (Path(__file__).parents[2] / "daemon" / "README.md").read_text(encoding="utf-8")
    marked = text.split("<!-- configuration: begin -->")[1].split("<!-- configuration: end -->")[0]
    return marked.split("```toml")[1].split("```")[0]


def objection(text: str) -> str | None:
    """What is said against a configuration; None when it is taken."""
    try:
        parse(text, "afterfill.toml")
    except ConfigError as error:
        return str(error)
    return None


def test_a_configuration_in_which_one_key_holds_something_odd() -> None:
    example = readmes_configuration()
    lines = [line for line in example.splitlines() if re.match(r"\w+ +=", line)]
    said = [
        objection(example.replace(line, f"{line.split('=')[0]}= {odd}", 1))
        for line in lines
        for odd in ODD
    ]
    refused = [sentence for sentence in said if sentence is not None]
    assert not [sentence for sentence in refused if "\n" in sentence]
    assert len(refused) > 0.7 * len(said) > 400
    assert objection(example) is None


@bounded
@given(received=st.lists(st.binary(max_size=300), max_size=8), request=st.binary(max_size=20))
def test_a_line(received: list[bytes], request: bytes) -> None:
    buffer = LineBuffer(b"\r\n", 256)
    for data in received:
        assert all(b"\r\n" not in line for line in buffer.feed(data))
        without_echo(data, request)


@bounded
@given(content=st.one_of(st.binary(max_size=80), st.integers().map(lambda n: b"%d\n" % n)))
def test_onewire(content: bytes) -> None:
    for found in (from_temperature(content), from_w1_slave(content)):
        assert (found.temperature_c is None) != (found.invalid is None)


@bounded
@given(received=st.binary(max_size=300))
def test_modbus(received: bytes) -> None:
    answer = understand(Question(1, 3, 1, 1), received)
    assert answer is not None
