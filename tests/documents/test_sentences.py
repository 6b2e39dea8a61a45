"""A command in a sentence of the documents does what it says, as it stands: on a tank with some
days behind it, or it stands here with the reason why not."""

import re
import time
from pathlib import Path

import pytest

from afterfill.records import Refill
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import (
    MEASURED,
    NAMES,
    afterfill,
    alarm,
    estimate,
    line_probes,
    reading,
    record,
    running,
    verdict,
    write_config,
)
from document_blocks import DOCUMENTS

REFILL = "10"  # its number in the journal below, which the documents call 1234
_SPAN = re.compile(r"`afterfill ([^`\n]+)`")
_ROW = re.compile(r"^\|.*$", re.MULTILINE)  # of the table of options, which names and shows none
NOT_AS_IT_STANDS = {
    "COMMAND --help": "a command's name belongs there",
    "--install-completion": "changes the shell of who runs it",
    "check --send-test": "a message goes out (tests/cli/test_check_notify.py)",
    "log": "a group; one of its commands belongs there",
    "log kit": "its figures belong there",
    "log source-test": "its figures belong there",
    "mqtt clear": "asks the broker (tests/sinks/test_mqtt_clear.py)",
    "mqtt clear --host broker.example": "asks that broker (tests/sinks/test_mqtt_clear.py)",
    "mqtt clear --host hub.example": "asks that broker (tests/sinks/test_mqtt_clear.py)",
    "page": "stays until it is stopped; the block of commands below its heading runs it",
    "probe calibrate": "guided (tests/system/test_guided_routines.py)",
    "probe calibrate --quantity ph": "guided (tests/system/test_guided_routines.py)",
    "probe response": "guided (tests/system/test_guided_routines.py)",
    "report --from": "a time belongs there",
    "run": "the service; the blocks of systemd/README.md run it",
    "setup": "asks; a block of systemd/README.md answers it",
}


def spans() -> list[str]:
    """Every command that stands in a sentence, without the words in capitals of a pattern."""
    told = {
        span
        for path in DOCUMENTS.values()
        for span in _SPAN.findall(_ROW.sub("", path.read_text()))
    }
    return sorted(
        it for it in told if not re.search(r"\b[A-Z]{4,}\b", it) or it in NOT_AS_IT_STANDS
    )


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A tank that has been refilled, and alarmed, while its service runs."""
    now_s = time.time()
    write_config(tmp_path, probes=line_probes(tmp_path / "head"))
    record(
        tmp_path,
        *(reading(now_s - ago_s, quantity) for ago_s in (4000.0, 60.0, 1.0) for quantity in NAMES),
        Refill(now_s - 3600, "window", "replace", litres=30.0),
        verdict(now_s - 60),
        alarm(now_s - 60, "residual-oxidant"),
        alarm(now_s - 60, "journal-damaged"),
        estimate(now_s - 1),
    )
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("span", [it for it in spans() if it not in NOT_AS_IT_STANDS])
def test_a_command_in_a_sentence_works_as_it_stands(home: Path, span: str) -> None:
    with PtyPort(LineDevice(lambda: MEASURED), home / "head"), running(home):
        words = re.findall(r'"[^"]*"|[^\s"]+', span.partition(" > ")[0])
        done = afterfill(*(it.strip('"').replace("1234", REFILL) for it in words))
    bad_news = words[0] in ("now", "check", "plan")  # which they tell by 1
    assert done.exit_code in ((0, 1) if bad_news else (0,)), done.stderr
    assert done.stdout.strip()


def test_what_is_left_out_is_named_somewhere() -> None:
    assert len(spans()) > 30
    assert set(NOT_AS_IT_STANDS) <= set(spans())
