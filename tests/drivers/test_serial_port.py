"""Each of the three families of a lost line is the same sentence to the shell."""

import termios
import time
from pathlib import Path

import pytest
import serial

from afterfill.errors import DeviceUnavailable
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from afterfill_drivers.hush import hush
from afterfill_drivers.serial_port import SerialPort


def ask(port: SerialPort) -> None:
    port.discard()
    port.send(b"R\r")


@pytest.mark.parametrize(
    "lost",
    [serial.SerialException("gone"), OSError(5, "gone"), termios.error(5, "gone")],
    ids=["pyserial", "system", "terminal"],
)
@pytest.mark.parametrize("method", ["write", "reset_input_buffer"])
def test_every_family_of_unplugging_is_device_unavailable(
    lost: Exception, method: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise lost

    device = LineDevice(lambda: {"orp": 400.0, "ph": 7.0, "temperature": 25.0})
    with PtyPort(device, tmp_path / "probe") as pty:
        port = SerialPort(str(pty.link), baud=9600)
        port.open()
        monkeypatch.setattr(serial.Serial, method, fail)
        with pytest.raises(DeviceUnavailable, match="plug the probe in again") as caught:
            ask(port)
        assert caught.value.__cause__ is lost
        port.close()


def test_opening_twice_does_not_hold_the_port_against_ourselves(tmp_path: Path) -> None:
    device = LineDevice(lambda: {"orp": 400.0, "ph": 7.0, "temperature": 25.0})
    with PtyPort(device, tmp_path / "probe") as pty:
        port = SerialPort(str(pty.link), baud=9600)
        port.open()
        port.open()
        port.close()
        port.close()


def test_a_line_that_never_falls_silent_is_waited_for_four_times_at_most() -> None:
    asked = 0

    def receive(_until_s: float) -> bytes:
        nonlocal asked
        asked += 1
        assert asked < 10_000_000, "it goes on for ever"
        return b"noise"

    began_s = time.monotonic()
    hush(receive, 0.05)
    assert 0.19 < time.monotonic() - began_s < 1.0


def test_a_silent_line_is_waited_for_once() -> None:
    waits: list[float] = []

    def receive(until_s: float) -> bytes:
        waits.append(until_s)
        return b""

    hush(receive, 0.05)
    assert len(waits) == 1
