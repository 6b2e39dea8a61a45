"""What happens on a serial line: cables pulled, a second program, answers to other questions."""

import itertools
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from afterfill.errors import DeviceUnavailable
from afterfill.ports import ProbePort
from afterfill.records import Quantity
from afterfill.simulation.line_device import PATTERN, LineDevice
from afterfill.simulation.modbus_device import ModbusDevice
from afterfill.simulation.pty_port import PtyPort, Responder
from faulty_device import Faults, FaultyDevice
from system.fault_row import Row, told
from system.live_service import LiveService
from transcript_sessions import driver, specs

_LINE = {"request": "R\r", "pattern": PATTERN, "timeout_s": 0.05}
_BUS = {"register": 0, "scale": 0.1, "timeout_s": 0.05}
_PASSING = 2  # the journal's tail, opened when first written; a thread of the calendar
_NAMED = "stop the other program"
_THIEF = """
import os, sys
held = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
print("reads", flush=True)
while True:
    os.read(held, 7)
"""


def replugged(times: int, folder: Path) -> Row:
    """A cable pulled and put back, the port under the same name."""
    with LiveService(folder, speed=20.0, every_s=2.0) as service:
        service.start()
        service.wait_for_readings()
        _replug(service, 1)
        before = _held(service.pid)
        for number in range(2, times + 1):
            _replug(service, number)
        after = _held(service.pid)
        service.wait_for(lambda: _last_is_value(service), "a reading after the last return")
        lost = sum(r.invalid == "port-lost" for r in service.records("reading"))
        service.stop()
        losses, returns = service.said().count("trying again"), service.said().count("is back")
    leaks = max(sum(after) - sum(before) - _PASSING, 0)
    heard = told(
        (
            "log once each, no thread died",
            losses == returns == times and "died" not in service.said(),
        ),
        ("readings 'port-lost'", lost),
    )
    how = f"pseudo-terminal closed and made again; {leaks} descriptors and threads leaked"
    return Row("unplugged", how, times, 2 * times - losses - returns, leaks, heard)


def _replug(service: LiveService, number: int) -> None:
    service.port.unplug()
    service.wait_for_said("trying again", number)
    service.port.plug()
    service.wait_for_said("is back", number)


def _held(pid: int) -> tuple[int, int]:
    """Descriptors and threads of a process."""
    return len(os.listdir(f"/proc/{pid}/fd")), len(os.listdir(f"/proc/{pid}/task"))


def _last_is_value(service: LiveService) -> bool:
    return service.records("reading")[-1].value is not None


def second_program(times: int, folder: Path) -> Row:
    """A second service on the port, and one on the journal, while the first goes on."""
    refused = 0
    with LiveService(folder / "first") as first, LiveService(folder / "second") as second:
        text = second.config.read_text()
        second.config.write_text(text.replace(str(second.port.link), str(first.port.link)))
        first.start()
        first.wait_for_readings()
        second.start()
        second.wait_for_said("is held by another program")
        for _ in range(times):
            done = first.command("run")
            refused += (
                done.returncode == 3 and "is in use by another `afterfill run`" in done.stderr
            )
        first.wait_for_readings()
        second.stop()
        spoilt = sum(r.value is None for r in first.records("reading"))
        stolen = sum(r.value is not None for r in second.records("reading"))
        first.stop()
    heard = told(
        ("one sentence in the second's log", second.said().count("held by another program") == 1),
        ("exit code 3 with a sentence", refused == times),
    )
    how = "a second `afterfill run` on the same port, and on the same journal"
    return Row("two programs", how, times, spoilt, stolen, heard)


def thief(times: int, folder: Path) -> Row:
    """A program that opened the line before, ignores its lock and reads answers away. Frames with
    a check value tell; text has none, see the driver's README."""
    wrong = invalid = 0
    water, sentences = _Counting(), set[str]()
    folder.mkdir()
    with PtyPort(ModbusDevice(7, water), folder / "probe") as pty:
        table = {"name": "orp", "quantity": "orp", "device": 7} | _BUS
        port = driver("modbus").port(str(pty.link), specs("modbus", [table]))
        port.open()
        with _thief(pty.link):
            for number in range(100 * times):  # who reads first is a race: go on until it is lost
                value = _value(port, sentences)
                invalid += value is None
                wrong += value not in (None, water.orp_mv)
                if number >= times and invalid:
                    break
        after = {_value(port, sentences) == water.orp_mv for _ in range(5)}
        port.close()
    heard = told(("readings with their reason", invalid))
    said = " and a sentence that says so" if any(_NAMED in it for it in sentences) else ""
    how = f"another program reads the open line: {invalid} readings unusable{said}, {wrong} wrong"
    return Row("stolen bytes", how, number + 1, int(after != {True}), wrong, heard)


def _value(port: ProbePort, sentences: set[str]) -> float | None:
    """One reading, the port opened again when it was lost, as the sampler does."""
    try:
        (sample,) = port.read(["orp"])
    except DeviceUnavailable as error:
        sentences.add(str(error))
        port.open()
        return None
    return sample.value


@contextmanager
def _thief(link: Path) -> Iterator[None]:
    command = [sys.executable, "-c", _THIEF, str(link)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"reads\n"
        try:
            yield
        finally:
            process.kill()


class _Counting:
    """An ORP that is another one at every look."""

    def __init__(self) -> None:
        self._numbers = itertools.count(1)
        self.orp_mv = 0.0

    def __call__(self) -> dict[Quantity, float]:
        self.orp_mv = float(next(self._numbers) % 1000)
        return {"orp": self.orp_mv, "ph": 7.2, "temperature": 24.8}


class _Swapped:
    """Two devices on one bus of which one answers in the other's place now and then."""

    def __init__(self, water: _Counting) -> None:
        self._right, self._other = ModbusDevice(7, water), ModbusDevice(8, water)
        self._asked = 0

    def answer(self, received: bytes) -> bytes:
        self._asked += 1
        reply = self._right.answer(received)
        if self._asked % 3:
            return reply
        return bytes([8]) + reply[1:] if self._asked % 2 else _for_eight(self._other)


def _for_eight(device: ModbusDevice) -> bytes:
    body = bytes([8, 4, 0, 0, 0, 1])
    crc = 0xFFFF
    for byte in body:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 * (crc & 1))
    return device.answer(body + crc.to_bytes(2, "little"))


def anothers_answer(times: int, folder: Path) -> Row:
    """Late answers to the question before, and answers of another device on the bus."""
    folder.mkdir()
    late = _wrong_of_late(times, folder / "line")
    swapped = _wrong_of_swapped(times, folder / "bus")
    wrong, unusable = late[0] + swapped[0], late[1] + swapped[1]
    how = f"answers 75 ms late on a line, another device's on a bus; {unusable} readings unusable"
    heard = told(("readings with their reason", late[1] and swapped[1]))
    return Row("another's answer", how, 2 * times, wrong, 0, heard)


def _wrong_of_late(times: int, link: Path) -> tuple[int, int]:
    water = _Counting()
    faults = Faults(0.3, seed=times, kinds=("delay",), delay_s=0.075)
    with PtyPort(FaultyDevice(LineDevice(water), faults), link):
        table = {"name": "orp", "quantity": "orp"} | _LINE
        return _judged(driver("line").port(str(link), specs("line", [table])), water, times)


def _wrong_of_swapped(times: int, link: Path) -> tuple[int, int]:
    water = _Counting()
    responder: Responder = _Swapped(water)
    with PtyPort(responder, link):
        table = {"name": "orp", "quantity": "orp", "device": 7} | _BUS
        port = driver("modbus").port(str(link), specs("modbus", [table]))
        return _judged(port, water, times)


def _judged(port: ProbePort, water: _Counting, times: int) -> tuple[int, int]:
    """How many values were not the one asked for, and how many readings were unusable."""
    wrong = unusable = 0
    port.open()
    for _number in range(times):
        (sample,) = port.read(["orp"])
        unusable += sample.value is None
        wrong += sample.value is not None and sample.value != water.orp_mv
    port.close()
    return wrong, unusable
