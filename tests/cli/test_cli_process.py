"""The command as its user starts it: a process, its exit codes, its two streams."""

import ast
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import pytest

from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import MEASURED, line_probes, write_config

PROGRAM = [sys.executable, "-m", "afterfill.cli.main"]


def run(folder: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*PROGRAM, *arguments],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )


@pytest.fixture
def head(tmp_path: Path) -> Iterator[Path]:
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head") as port:
        yield port.link


def test_the_console_script_is_this_program(tmp_path: Path) -> None:
    script = Path(sys.executable).with_name("afterfill")
    result = subprocess.run([script, "--help"], capture_output=True, text=True, check=True)
    for command in ("demo", "run", "setup", "check", "now", "log", "probe", "alarm", "replay"):
        assert f"\n  {command} " in result.stdout
    assert "no drinking-water instrument" in result.stdout


HEAVY = {
    "afterfill.config", "afterfill.journal", "afterfill.service.service", "afterfill.tank",
    "influxdb_client", "matplotlib", "numpy", "paho", "rich", "serial", "sqlite3",
}  # fmt: skip
_LOADED = """
import sys
from afterfill.cli.entry import main
sys.argv = ["afterfill", *{words!r}]
try:
    main()
finally:
    print(sorted(sys.modules), file=sys.stderr)
"""


def modules_of(*words: str) -> set[str]:
    """What a command has loaded when it ends."""
    code = _LOADED.format(words=words)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return set(ast.literal_eval(done.stderr.splitlines()[-1]))


def test_a_table_of_commands_is_shown_without_what_they_need() -> None:
    assert (HEAVY | {"pydantic"}) & modules_of("--help") == set()


@pytest.mark.parametrize(
    "words",
    ["now", "plan", "check", "log", "log refill", "probe", "probe calibrate", "alarm list"],
)
def test_help_loads_nothing_heavy(words: str) -> None:
    assert HEAVY & modules_of(*words.split(), "--help") == set()


def test_a_command_loads_no_other() -> None:
    loaded = modules_of("now", "--config", "/nowhere")
    assert "afterfill.cli.now.command" in loaded
    others = {"afterfill.cli.plan", "afterfill.cli.probe", "afterfill.cli.run", "afterfill.cli.log"}
    assert others & loaded == set()


def test_no_configuration_at_all_is_one_sentence(tmp_path: Path) -> None:
    result = run(tmp_path, "now", AFTERFILL_CONFIG="")
    assert result.returncode == 2
    assert result.stdout == ""
    assert result.stderr.startswith("afterfill: there is no afterfill.toml in this folder")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["nwo"], "No such command 'nwo'"),
        (["replay"], "Missing argument"),
        (["log", "dose"], "Missing option '--neutraliser-ml'"),
        (
            ["alarm", "shelve", "x", "--minutes", "two"],
            "--minutes: 'two' is not a number",
        ),
        (["probe", "read", "--count", "0"], "Invalid value for '--count'"),
    ],
)
def test_wrong_use_ends_with_2_and_no_traceback(
    tmp_path: Path, arguments: list[str], sentence: str
) -> None:
    write_config(tmp_path)
    result = run(tmp_path, *arguments)
    assert result.returncode == 2
    assert sentence in result.stderr
    assert "Traceback" not in result.stderr


def test_the_environment_may_name_the_configuration(tmp_path: Path, head: Path) -> None:
    config = write_config(tmp_path, probes=line_probes(head))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    result = run(elsewhere, "probe", "read", "window-orp", AFTERFILL_CONFIG=str(config))
    assert (result.returncode, result.stdout) == (0, "window-orp  412.3 mV\n")


def test_a_mistake_in_the_file_names_table_key_and_the_nearest(tmp_path: Path) -> None:
    write_config(tmp_path, tanks="[tank.window]\nliters = 100\n")
    result = run(tmp_path, "check")
    assert result.returncode == 2
    assert "afterfill.toml: [tank.window]: unknown key 'liters'; did you mean 'litres'?" in (
        result.stderr
    )
    assert "Traceback" not in result.stderr


def test_a_damaged_journal_is_unavailable(tmp_path: Path) -> None:
    write_config(tmp_path)
    (tmp_path / "afterfill.db").write_bytes(b"no database at all " * 100)
    result = run(tmp_path, "now")
    assert result.returncode == 3
    assert "is damaged" in result.stderr
    assert "Traceback" not in result.stderr


def test_an_interrupt_ends_with_130_and_no_traceback(tmp_path: Path, head: Path) -> None:
    write_config(tmp_path, probes=line_probes(head))
    process = subprocess.Popen(
        [*PROGRAM, "probe", "read", "window-orp", "--count", "10000", "--every", "1"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        text=True,
        # a shell that started the tests in the background has SIGINT ignored for all below it
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == "window-orp  412.3 mV\n"
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "Traceback" not in errors


def test_a_reader_that_goes_away_is_no_traceback(tmp_path: Path, head: Path) -> None:
    write_config(tmp_path, probes=line_probes(head))
    process = subprocess.Popen(
        [*PROGRAM, "probe", "read", "window-orp", "--count", "10000", "--every", "0"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        text=True,
    )
    with process:
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr is not None
        errors = process.stderr.read()
    assert process.wait(20) == 1
    assert "Traceback" not in errors


def test_the_version_is_that_of_the_package(tmp_path: Path) -> None:
    done = run(tmp_path, "--version")
    assert done.returncode == 0
    assert done.stdout.strip() == f"afterfill {version('afterfill')}"


@pytest.mark.parametrize(("typed", "word", "offered"), [
    ("afterfill aud", "1", ["audit"]),
    ("afterfill log so", "2", ["source-test"]),
    ("afterfill log refill --neu", "3", ["--neutraliser-ml"]),
])  # fmt: skip
def test_a_shell_completes_commands_and_options(
    tmp_path: Path, typed: str, word: str, offered: list[str]
) -> None:
    asked = {"COMP_WORDS": typed, "COMP_CWORD": word, "_AFTERFILL_COMPLETE": "complete_bash"}
    script = Path(sys.executable).with_name("afterfill")
    done = subprocess.run(
        [script], env={**os.environ, **asked}, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == offered
