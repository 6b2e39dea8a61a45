"""A coverage-guided fuzzer on whatever comes from outside; by hand, beside CI's bounded fuzzing.

``pip install atheris && python tests/bench/fuzz_by_coverage.py frames -max_total_time=60 [CORPUS]``
feeds one of `frames`, `recording`, `configuration` or `commands` with bytes that reach ever more
lines of the code. It ends with 77 and a traceback when something other than a value, a reason or
one sentence comes out; `crash-*` then holds the bytes. atheris has no wheel for every Python, so
it is not among the packages that the tests install.
"""

import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["afterfill", "afterfill_drivers", "json", "tomllib"]):
    from afterfill.config import Config
    from afterfill.config_file import parse
    from afterfill.errors import AfterfillError
    from afterfill.journal.recording import read_recording
    from afterfill.journal.store import Journal
    from afterfill.ports import ProbeSpec
    from afterfill.records import Stamp
    from afterfill.sinks.mqtt.commands import Command, obey
    from afterfill_drivers.line.frames import LineBuffer, judge
    from afterfill_drivers.line.settings import LineSettings
    from afterfill_drivers.modbus.frames import Question, understand
    from afterfill_drivers.onewire.frames import from_temperature, from_w1_slave

_FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))
_LINES = (
    LineSettings(),
    LineSettings(pattern=r"ORP=(?P<orp>[^;]*);.*", error_replies=("ERR",)),
    LineSettings(column=2, separator=";", scale=1e3),
)
_LONGEST = 64


def frames(data: bytes) -> None:
    """What a probe may send."""
    understand(Question(1, 3, 1, 1), data)
    for found in (from_temperature(data), from_w1_slave(data)):
        assert (found.temperature_c is None) != (found.invalid is None)
    buffer = LineBuffer(b"\r\n", _LONGEST)
    for begin in range(0, len(data), 7):
        for line in buffer.feed(data[begin : begin + 7]):
            for settings in _LINES:
                sample = judge(line, ProbeSpec("orp", "orp", settings), settings)
                assert sample is None or (sample.value is None) != (sample.invalid is None)
    assert len(buffer.pending) <= _LONGEST + 2


def recording(data: bytes) -> None:
    """Readings and, after a zero byte, events."""
    readings, _, events = data.partition(b"\0")
    (_FOLDER / "readings.csv").write_bytes(readings)
    (_FOLDER / "events.jsonl").write_bytes(events)
    list(read_recording(_FOLDER, "t"))


def configuration(data: bytes) -> None:
    """A whole file."""
    parse(data.decode("utf-8", "replace"), "afterfill.toml")


def commands(data: bytes) -> None:
    """A topic in the first line, its payload in the others."""
    topic, _, payload = data.partition(b"\n")
    command = Command(topic.decode("utf-8", "replace"), payload, retained=False)
    with Journal.open(_FOLDER / "fuzz.db") as journal:
        _, answer = obey(
            command, config=_WINDOW, alarms=["ph"], journal=journal,
            stamp=Stamp(1.8e9, True, "boot", 0.0),
        )  # fmt: skip
    assert str(answer.get("error", "")).isprintable()
    json.dumps(answer, allow_nan=False)


_WINDOW = Config.model_validate({"tank": {"window": {"litres": 200}}})
_TARGETS: dict[str, Callable[[bytes], None]] = {
    target.__name__: target for target in (frames, recording, configuration, commands)
}


def main() -> None:
    """Fuzz the target that the first argument names; the others are the fuzzer's own."""
    target = _TARGETS[sys.argv.pop(1)]

    def one(data: bytes) -> None:
        said = ""
        try:
            target(data)
        except AfterfillError as error:
            said = str(error)
        assert said.isprintable()

    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
