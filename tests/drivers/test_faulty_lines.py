"""Bad cables, pulled plugs and second programs, over real pseudo-terminals."""

import itertools
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from afterfill.errors import ConfigError, DeviceUnavailable
from afterfill.ports import ProbePort, Sample
from afterfill.records import Quantity
from afterfill.simulation.line_device import PATTERN, LineDevice
from afterfill.simulation.modbus_device import ModbusDevice
from afterfill.simulation.pty_port import PtyPort, Responder
from faulty_device import FaultKind, Faults, FaultyDevice
from transcript_sessions import driver, specs, wait_until_waiting

TIMEOUT_S = 0.02
PROTOCOLS = ["line", "modbus"]
KEYS: dict[str, dict[str, Any]] = {
    "line": {"request": "R\r", "pattern": PATTERN, "timeout_s": TIMEOUT_S},
    "modbus": {
        "device": 7,
        "register": 0,
        "scale": 0.1,
        "baud": 115200,
        "timeout_s": TIMEOUT_S,
    },
}
# a flipped bit cannot be seen in text, so only the frame with a check value is given any
KINDS: dict[str, tuple[FaultKind, ...]] = {
    "line": ("drop", "garbage", "half", "delay", "echo"),
    "modbus": ("drop", "garbage", "half", "delay", "echo", "checksum"),
}


class Water:
    """An ORP that is another one at every look, so that an old answer shows."""

    def __init__(self) -> None:
        self._numbers = itertools.cycle(range(1000))
        self.orp_mv = 0.0

    def __call__(self) -> dict[Quantity, float]:
        self.orp_mv = float(next(self._numbers))
        return {"orp": self.orp_mv, "ph": 7.21, "temperature": 24.81}


def device_of(proto: str, water: Water) -> Responder:
    return LineDevice(water) if proto == "line" else ModbusDevice(7, water)


def port_on(pty: PtyPort, proto: str) -> ProbePort:
    table = {"name": "orp", "quantity": "orp"} | KEYS[proto]
    return driver(proto).port(str(pty.link), specs(proto, [table]))


def one(port: ProbePort) -> Sample:
    (sample,) = port.read(["orp"])
    return sample


@pytest.mark.parametrize("proto", PROTOCOLS)
def test_a_fault_is_never_a_value_and_good_readings_follow(proto: str, tmp_path: Path) -> None:
    water = Water()
    faults = Faults(0.2, seed=20, kinds=KINDS[proto], delay_s=1.5 * TIMEOUT_S)
    device = FaultyDevice(device_of(proto, water), faults)
    with PtyPort(device, tmp_path / "probe") as pty:
        port = port_on(pty, proto)
        port.open()
        invalid = 0
        for _ in range(300):
            spoilt_before = sum(faults.counts.values())
            sample = one(port)
            if sum(faults.counts.values()) > spoilt_before:
                assert sample.invalid is not None, f"{faults.counts} gave {sample}"
                invalid += 1
            else:
                assert sample.value == pytest.approx(water.orp_mv)
        port.close()
    assert invalid == sum(faults.counts.values())
    assert set(faults.counts) == set(KINDS[proto])


def test_faults_are_the_same_for_the_same_seed() -> None:
    first, second = (Faults(0.5, seed=3) for _ in range(2))
    sent = [(b"R\r", b"%d\r\n" % number) for number in range(50)]
    assert [first.spoil(*pair) for pair in sent] == [second.spoil(*pair) for pair in sent]


@pytest.mark.parametrize("proto", PROTOCOLS)
def test_pulled_plug_is_a_lost_port_and_the_same_path_works_again(
    proto: str, tmp_path: Path
) -> None:
    with PtyPort(device_of(proto, Water()), tmp_path / "probe") as pty:
        port = port_on(pty, proto)
        port.open()
        assert one(port).value is not None
        pty.unplug()
        with pytest.raises(DeviceUnavailable, match="plug the probe in"):
            one(port)
        with pytest.raises(DeviceUnavailable, match="is not there"):
            port.open()
        pty.plug()
        port.open()
        assert one(port).value is not None
        port.close()
        port.close()


@pytest.mark.parametrize("proto", PROTOCOLS)
def test_a_second_program_on_the_port_is_told_so(proto: str, tmp_path: Path) -> None:
    holder = (
        "import serial, sys; held = serial.Serial(sys.argv[1], exclusive=True);"
        "print('held', flush=True); sys.stdin.read()"
    )
    with PtyPort(device_of(proto, Water()), tmp_path / "probe") as pty:
        command = [sys.executable, "-c", holder, str(pty.link)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
            assert other.stdout is not None
            assert other.stdout.readline() == b"held\n"
            port = port_on(pty, proto)
            with pytest.raises(DeviceUnavailable, match="held by another program"):
                port.open()
            other.communicate()
        port.open()
        assert one(port).value is not None
        port.close()


@pytest.mark.parametrize("proto", PROTOCOLS)
def test_reading_a_port_that_is_not_open_says_so(proto: str, tmp_path: Path) -> None:
    port = port_on(PtyPort(device_of(proto, Water()), tmp_path / "probe"), proto)
    with pytest.raises(DeviceUnavailable, match="not open"):
        one(port)


def test_a_file_that_is_no_port_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    table = {"name": "orp", "quantity": "orp"} | KEYS["line"]
    with pytest.raises(DeviceUnavailable, match="cannot be opened"):
        driver("line").port(str(tmp_path / "file"), specs("line", [table])).open()


def stream_port(pty: PtyPort) -> ProbePort:
    table = {"name": "orp", "quantity": "orp", "column": 1, "timeout_s": TIMEOUT_S}
    return driver("line").port(str(pty.link), specs("line", [table]))


def test_stream_that_falls_silent_gives_no_old_value(tmp_path: Path) -> None:
    with PtyPort(LineDevice(Water()), tmp_path / "probe") as pty:
        port = stream_port(pty)
        port.open()
        pty.send(b"half\r\n412.3\r\n")
        wait_until_waiting(pty.link, 13)
        assert one(port).value == 412.3
        assert one(port).invalid == "no-answer"
        pty.send(b"x\r\n")
        wait_until_waiting(pty.link, 3)
        assert one(port).invalid == "garbled"
        port.close()


def test_first_line_of_a_stream_is_not_used_because_its_beginning_is_lost(tmp_path: Path) -> None:
    with PtyPort(LineDevice(Water()), tmp_path / "probe") as pty:
        port = stream_port(pty)
        port.open()
        pty.send(b"12.3\r\n")  # of 412.3
        wait_until_waiting(pty.link, 6)
        assert one(port).value is None
        port.close()


def test_stream_that_overran_the_kernels_buffer_is_not_believed(tmp_path: Path) -> None:
    with PtyPort(LineDevice(Water()), tmp_path / "probe") as pty:
        port = stream_port(pty)
        port.open()
        for _ in range(20):
            pty.send(b"412.3\r\n" * 100)
        wait_until_waiting(pty.link, 4095)
        assert one(port).value is None
        port.close()


def test_unasked_probe_of_the_simulation_is_heard(tmp_path: Path) -> None:
    water = Water()
    device = LineDevice(water)
    table = {"name": "orp", "quantity": "orp", "pattern": PATTERN, "timeout_s": 5}
    with PtyPort(device, tmp_path / "probe", stream=device.line, every_s=0.01) as pty:
        port = driver("line").port(str(pty.link), specs("line", [table]))
        port.open()
        values = [one(port).value for _ in range(5)]
        port.close()
    assert len(set(values)) == 5
    assert None not in values


@pytest.mark.parametrize(
    ("proto", "other", "said"),
    [
        ("line", {"baud": 1200}, "baud"),
        ("line", {"request": None}, "whether they are asked"),
        ("line", {"pattern": r"PH=([\d.]+)"}, r"\(\?P<ph>"),
        ("modbus", {"parity": "E"}, "parity"),
    ],
)
def test_probes_that_cannot_share_a_port_are_refused(
    proto: str, other: dict[str, Any], said: str
) -> None:
    tables = [
        {"name": "tank-orp", "quantity": "orp"} | KEYS[proto],
        {"name": "tank-ph", "quantity": "ph"} | KEYS[proto] | other,
    ]
    with pytest.raises(ConfigError, match=said):
        driver(proto).port("/dev/none", specs(proto, tables))
