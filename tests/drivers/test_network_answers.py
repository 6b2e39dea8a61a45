"""What comes from a bridge in the network that is not what was asked for: over real sockets."""

import threading
import time

import pytest

from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import Responder
from bridges import Bridge
from network_lines import (
    PROTOCOLS,
    TIMEOUT_S,
    Water,
    device_of,
    each_protocol,
    each_scheme,
    one,
    port_at,
    stream_at,
)
from open_port import opened

OLD_LINE = b"ORP=999.0;PH=7.21;T=24.81\r\n"
OLD_FRAME = bytes.fromhex("07 03 02 27 06")  # 999.0 mV at register 0


def old_frame() -> bytes:
    from afterfill_drivers.modbus.frames import with_crc

    return with_crc(OLD_FRAME)


@each_scheme
@pytest.mark.parametrize(
    ("proto", "old"), [("line", OLD_LINE * 3), ("modbus", old_frame())], ids=PROTOCOLS
)
def test_what_is_left_of_the_last_session_is_no_reading(
    scheme: str, proto: str, old: bytes
) -> None:
    """It comes a little after we have connected, when the first question may be under way."""
    water = Water()
    with (
        Bridge(device_of(proto, water), scheme) as bridge,
        opened(port_at(bridge.address, proto)) as port,
    ):
        late = threading.Timer(0.03, lambda: bridge.send(old))
        late.start()
        sample = one(port)
        late.join()
        assert sample.value in (None, water.orp_mv)
        assert sample.value != 999.0
        assert one(port).value == water.orp_mv


@each_scheme
def test_old_lines_of_a_stream_are_no_reading(scheme: str) -> None:
    with Bridge(LineDevice(Water()), scheme) as bridge:
        late = threading.Timer(0.05, lambda: bridge.send(b"99.0\r\n" + OLD_LINE + b"999.0\r\n"))
        late.start()
        with opened(stream_at(bridge.address)) as port:
            late.join()
            assert one(port).invalid == "no-answer"
            bridge.send(b"half of one\r\n")
            bridge.send(b"412.3\r\n")
            assert one(port).value == 412.3


def test_a_stream_that_waited_long_gives_its_newest_line() -> None:
    with Bridge(LineDevice(Water())) as bridge, opened(stream_at(bridge.address)) as port:
        bridge.send(b"".join(b"%d.5\r\n" % number for number in range(1000)))
        bridge.wait_until_sent()
        assert one(port).value == 999.5
        assert one(port).invalid == "no-answer"


class Dripping:
    """A device whose answer comes byte by byte."""

    def __init__(self, device: Responder, pause_s: float) -> None:
        self._device, self._pause_s = device, pause_s
        self.bridge: Bridge | None = None

    def answer(self, received: bytes) -> bytes:
        assert self.bridge is not None
        for byte in self._device.answer(received):
            self.bridge.send(bytes([byte]))
            time.sleep(self._pause_s)
        return b""


@each_protocol
@each_scheme
def test_bytes_that_come_slowly_are_one_answer_or_none(proto: str, scheme: str) -> None:
    water = Water()
    device = Dripping(device_of(proto, water), 0.002)
    with Bridge(device, scheme) as device.bridge:
        with opened(port_at(device.bridge.address, proto, timeout_s=1.0)) as port:
            assert one(port).value == water.orp_mv
        device._pause_s = 0.05
        with opened(port_at(device.bridge.address, proto, timeout_s=0.1)) as port:
            assert one(port).invalid == "incomplete"


@each_protocol
@each_scheme
def test_a_flood_does_not_hold_us(proto: str, scheme: str) -> None:
    over, water = threading.Event(), Water()
    with (
        Bridge(device_of(proto, water), scheme) as bridge,
        opened(port_at(bridge.address, proto)) as port,
    ):

        def flood() -> None:
            while not over.is_set():
                bridge.send(b"noise " * 500)

        source = threading.Thread(target=flood)
        source.start()
        took_s = []
        for _ in range(4):
            began_s = time.monotonic()
            assert one(port).value in (None, water.orp_mv)
            took_s.append(time.monotonic() - began_s)
        over.set()
        port.close()  # so that a sender that waits for us gets an end
        source.join()
    assert max(took_s) < 30 * TIMEOUT_S  # five time-outs, and a processor that two share


def test_a_flooding_stream_does_not_hold_us() -> None:
    over = threading.Event()
    with Bridge(LineDevice(Water())) as bridge, opened(stream_at(bridge.address)) as port:

        def flood() -> None:
            while not over.is_set():
                bridge.send(b"12.5\r\n" * 500)

        source = threading.Thread(target=flood)
        source.start()
        began_s = time.monotonic()
        for _ in range(4):
            one(port)
        took_s = time.monotonic() - began_s
        over.set()
        port.close()
        source.join()
    assert took_s < 4 * 10 * TIMEOUT_S
