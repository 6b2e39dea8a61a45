"""The service as its user runs it: real serial lines, a cable pulled, commands, a clean stop."""

import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import Quantity, Reading, Refill, Tick
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.modbus_device import ModbusDevice
from afterfill.simulation.pty_port import PtyPort

pytestmark = pytest.mark.system
COMMAND = [sys.executable, "-m", "afterfill.cli.main"]
CONFIG = """
[tank.t]
litres = 100
[[probe]]
tank = "t"
quantity = "orp"
driver = "line"
port = "{folder}/orp"
every_s = 0.5
request = "R\\r"
terminator = "\\r\\n"
pattern = 'ORP=(?P<orp>-?[\\d.]+);PH=[\\d.]+;T=-?[\\d.]+'
[[probe]]
tank = "t"
quantity = "ph"
driver = "modbus"
port = "{folder}/bus"
every_s = 0.5
device = 1
register = 1
type = "uint16"
scale = 0.01
[journal]
path = "j.db"
commit_every_s = 0.5
"""


class Service:
    """A running service with its two ports."""

    def __init__(self, folder: Path, orp: PtyPort, process: subprocess.Popen[str]) -> None:
        self.folder, self.orp, self.process = folder, orp, process

    def records(self, kind: str) -> list[object]:
        with Journal.open(self.folder / "j.db", read_only=True) as journal:
            return [e.record for e in journal.entries(kinds=(kind,), limit=100_000)]

    def wait_for(self, what: Callable[[], bool], within_s: float = 20.0) -> None:
        deadline_s = time.monotonic() + within_s
        while time.monotonic() < deadline_s:
            if (self.folder / "j.db").exists() and what():
                return
            time.sleep(0.1)
        pytest.fail("what was waited for did not come")

    def orp_readings(self) -> list[Reading]:
        found = self.records("reading")
        return [r for r in found if isinstance(r, Reading) and r.quantity == "orp"]

    def stop(self) -> tuple[int, float]:
        began_s = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(20), time.monotonic() - began_s


def values() -> dict[Quantity, float]:
    return {"orp": 312.5, "ph": 7.31, "temperature": 24.9}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    (tmp_path / "afterfill.toml").write_text(CONFIG.format(folder=tmp_path))
    orp = PtyPort(LineDevice(values), tmp_path / "orp")
    with orp, PtyPort(ModbusDevice(1, values), tmp_path / "bus"):
        command = [*COMMAND, "run", "--config", str(tmp_path / "afterfill.toml")]
        process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        try:
            yield Service(tmp_path, orp, process)
        finally:
            process.kill()
            process.wait(10)
            if process.stderr is not None:
                process.stderr.close()


def test_it_reads_both_lines_and_stops_within_five_seconds(service: Service) -> None:
    service.wait_for(lambda: len(service.orp_readings()) >= 4)
    code, took_s = service.stop()
    assert (code, took_s < 5.0) == (0, True)
    shown = {(r.quantity, r.value) for r in service.records("reading") if isinstance(r, Reading)}
    assert {("orp", 312.5), ("ph", 7.31)} <= shown
    with sqlite3.connect(service.folder / "j.db") as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_pulled_cable_is_said_and_found_again(service: Service) -> None:
    service.wait_for(lambda: len(service.orp_readings()) >= 2)
    service.orp.unplug()
    service.wait_for(lambda: service.orp_readings()[-1].invalid == "port-lost")
    service.orp.plug()
    service.wait_for(lambda: service.orp_readings()[-1].value == 312.5)
    service.stop()
    log = service.process.communicate()[1]
    assert log.count("trying again") == 1
    assert log.count("is back") == 1


def test_a_refill_logged_by_command_is_taken_up_while_it_runs(service: Service) -> None:
    service.wait_for(lambda: len(service.orp_readings()) >= 1)
    config = ["--config", str(service.folder / "afterfill.toml")]
    said = subprocess.run(
        [*COMMAND, "log", "refill", "--litres", "5 US gal", "--neutraliser-ml", "2", *config],
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 0, said.stderr
    service.wait_for(lambda: bool(service.records("refill-seen")))
    (refill,) = service.records("refill")
    assert isinstance(refill, Refill)
    assert refill.litres == pytest.approx(18.927, abs=0.001)  # 5 US gallons


def test_a_kill_loses_nothing_that_was_acknowledged(service: Service) -> None:
    service.wait_for(lambda: len(service.orp_readings()) >= 3)
    before = service.records("reading")
    service.process.kill()
    service.process.wait(10)
    config = ["--config", str(service.folder / "afterfill.toml")]
    subprocess.run(
        [*COMMAND, "log", "dose", "--neutraliser-ml", "1", *config], check=True, capture_output=True
    )
    again = subprocess.Popen([*COMMAND, "run", *config], stderr=subprocess.DEVNULL)
    try:
        service.wait_for(lambda: len(service.records("dose")) == 1)
        assert service.records("reading")[: len(before)] == before
    finally:
        again.send_signal(signal.SIGTERM)
        assert again.wait(10) == 0


def test_without_probes_time_still_passes(tmp_path: Path) -> None:
    (tmp_path / "afterfill.toml").write_text("[tank.t]\nlitres = 100\n[journal]\npath = 'j.db'\n")
    command = [*COMMAND, "run", "--config", str(tmp_path / "afterfill.toml")]
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    deadline_s = time.monotonic() + 15.0
    while not (tmp_path / "j.db").exists() and time.monotonic() < deadline_s:
        time.sleep(0.1)
    time.sleep(1.0)
    process.send_signal(signal.SIGTERM)
    assert process.wait(10) == 0
    with Journal.open(tmp_path / "j.db", read_only=True) as journal:
        assert any(isinstance(e.record, Tick) for e in journal.entries())


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[tank.t]\nliters = 100\n", "litres"),
        (CONFIG.format(folder="/x").replace('driver = "line"', 'driver = "lien"'), "line"),
    ],
)
def test_a_wrong_configuration_is_one_sentence_and_exit_2(
    tmp_path: Path, text: str, sentence: str
) -> None:
    (tmp_path / "afterfill.toml").write_text(text)
    done = subprocess.run(
        [*COMMAND, "run", "--config", str(tmp_path / "afterfill.toml")],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 2
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
