"""Modbus TCP against another implementation (pymodbus), and a gateway that plays tricks."""

import struct
import threading
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerSocket
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadHoldingRegistersResponse,
)

from afterfill.errors import DeviceUnavailable
from afterfill.ports import ProbePort, Sample
from afterfill.records import InvalidReason
from afterfill_drivers.modbus.frames import Question
from afterfill_drivers.modbus.tcp_frames import LONGEST, request, understand
from bridges import Bridge
from modbus_server import HOST, ModbusServer
from open_port import opened
from transcript_sessions import driver, specs

ASKED = Question(7, 3, 0, 1)
GOOD = bytes.fromhex("0005 0000 0005 07 03 02 101b")  # 4123 in answer to number 5
TIMEOUT_S = 0.15


def port_at(address: str, **further: object) -> ProbePort:
    table = {"name": "orp", "quantity": "orp", "device": 7, "register": 0, "scale": 0.1}
    table |= {"timeout_s": TIMEOUT_S, **further}
    return driver("modbus").port(address, specs("modbus", [table]))


def one(port: ProbePort) -> Sample:
    (sample,) = port.read(["orp"])
    return sample


# --- frames ------------------------------------------------------------------------------------


@given(st.integers(0, 65535), st.integers(0, 255), st.integers(0, 65000), st.integers(1, 2))
def test_request_agrees_with_another_implementation(
    number: int, device: int, register: int, words: int
) -> None:
    theirs = ReadHoldingRegistersRequest(address=register, count=words, dev_id=device)
    theirs.transaction_id = number
    built = FramerSocket(DecodePDU(True)).buildFrame(theirs)
    assert request(number, Question(device, 3, register, words)) == built


@given(st.integers(0, 65535), st.lists(st.integers(0, 65535), min_size=1, max_size=2))
def test_reply_of_another_implementation_is_understood(number: int, words: list[int]) -> None:
    theirs = ReadHoldingRegistersResponse(registers=words, dev_id=7)
    theirs.transaction_id = number
    built = FramerSocket(DecodePDU(False)).buildFrame(theirs)
    answer = understand(number, Question(7, 3, 0, len(words)), built)
    assert answer.invalid is None
    assert answer.data == struct.pack(f">{len(words)}H", *words)


@pytest.mark.parametrize(
    ("received", "reason"),
    [
        (b"", "no-answer"),
        (GOOD[:3], "incomplete"),
        (GOOD[:-1], "incomplete"),
        (GOOD, None),
        (bytes.fromhex("0004 0000 0005 07 03 02 ffff"), "no-answer"),  # to the question before
        (bytes.fromhex("0004 0000 0005 07 03 02 ffff") + GOOD, None),
        (bytes.fromhex("0005 0000 0005 08 03 02 101b"), "wrong-device"),
        (bytes.fromhex("0005 0000 0005 07 04 02 101b"), "garbled"),
        (bytes.fromhex("0005 0000 0007 07 03 04 101b 101b"), "garbled"),
        (bytes.fromhex("0005 0000 0005 07 03 04 101b"), "garbled"),
        (bytes.fromhex("0005 0001 0005 07 03 02 101b"), "garbled"),
        (bytes.fromhex("0005 0000 ffff 07 03 02 101b"), "garbled"),
        (bytes.fromhex("0005 0000 0001 07 03 02 101b"), "garbled"),
        (bytes.fromhex("0005 0000 0003 07 83 02"), "error-reply"),
        (bytes.fromhex("0005 0000 0003 07 83 0b"), "no-answer"),  # a gateway: it is silent
    ],
)
def test_what_came_is_judged(received: bytes, reason: InvalidReason | None) -> None:
    assert understand(5, ASKED, received).invalid == reason


@given(st.binary(max_size=3 * LONGEST))
def test_no_bytes_are_too_strange(received: bytes) -> None:
    answer = understand(5, ASKED, received)
    assert answer.invalid is not None or len(answer.data) == 2


# --- a server of another make ------------------------------------------------------------------


def test_registers_of_a_server_are_read() -> None:
    tables = [
        {"name": "orp", "quantity": "orp", "device": 7, "register": 0, "scale": 0.1},
        {"name": "ph", "quantity": "ph", "device": 255, "register": 1, "scale": 0.01},
        {
            "name": "t", "quantity": "temperature", "device": 1, "register": 2, "function": 4,
            "type": "float32",
        },
    ]  # fmt: skip
    words = [4123, 721, *struct.unpack(">HH", struct.pack(">f", 24.81))]
    with ModbusServer(words) as server:
        port = driver("modbus").port(f"tcp://{HOST}:{server.port}", specs("modbus", tables))
        with opened(port):
            values = [sample.value for sample in port.read(["orp", "ph", "t"])]
    assert values == pytest.approx([412.3, 7.21, 24.81])


def test_a_register_that_is_not_there_is_an_error_reply() -> None:
    with (
        ModbusServer([1]) as server,
        opened(port_at(f"tcp://{HOST}:{server.port}", register=500)) as port,
    ):
        assert one(port).invalid == "error-reply"


def test_a_server_that_starts_again_is_a_lost_port_and_works_again() -> None:
    with ModbusServer([4123]) as server:
        port = port_at(f"tcp://{HOST}:{server.port}")
        port.open()
        assert one(port).value == pytest.approx(412.3)
        server.stop()
        with pytest.raises(DeviceUnavailable, match="was lost"):
            one(port)
        with pytest.raises(DeviceUnavailable, match="refuses the connection"):
            port.open()
        server.start()
        with opened(port):
            assert one(port).value == pytest.approx(412.3)


def test_a_second_afterfill_on_this_machine_is_told_so() -> None:
    with ModbusServer([1]) as server:
        address = f"tcp://{HOST}:{server.port}"
        with (
            opened(port_at(address)),
            pytest.raises(DeviceUnavailable, match="is held by another program"),
        ):
            port_at(address).open()


# --- a gateway that plays tricks ---------------------------------------------------------------


class Gateway:
    """Answers each request with what `trick` makes of the right reply and the one before it."""

    def __init__(self, trick: Callable[[bytes, bytes], bytes]) -> None:
        self._trick, self._before, self._asked = trick, b"", 0

    def answer(self, received: bytes) -> bytes:
        """A bridge that was held up may hear several requests, of 12 bytes each, at once."""
        assert len(received) % 12 == 0
        return b"".join(self._reply(received[at : at + 12]) for at in range(0, len(received), 12))

    def _reply(self, received: bytes) -> bytes:
        self._asked += 1
        right = received[:4] + bytes.fromhex("0005 07 03 02") + struct.pack(">H", self._asked)
        before, self._before = self._before, right
        return self._trick(right, before)


def read_through(trick: Callable[[bytes, bytes], bytes], times: int) -> list[float | None]:
    with Bridge(Gateway(trick), "tcp") as bridge, opened(port_at(bridge.address, scale=1)) as port:
        return [one(port).value for _ in range(times)]


def test_an_answer_to_the_question_before_is_never_taken_for_this_one() -> None:
    assert read_through(lambda _right, before: before, 4) == [None] * 4
    assert read_through(lambda right, before: before + right, 4) == [1.0, 2.0, 3.0, 4.0]


def test_bytes_that_are_no_frame_spoil_one_reading_and_not_the_next() -> None:
    turns = iter([True, False, True, False])
    values = read_through(lambda right, _b: b"\xff" * 9 + right if next(turns) else right, 4)
    assert values == [None, 2.0, None, 4.0]


def test_what_lies_there_from_before_is_no_reading() -> None:
    with (
        Bridge(Gateway(lambda right, _b: right), "tcp", begins_with=GOOD * 20) as bridge,
        opened(port_at(bridge.address, scale=1)) as port,
    ):
        bridge.wait_until_sent()
        assert [one(port).value for _ in range(3)] == [1.0, 2.0, 3.0]


def test_a_flood_does_not_hold_us() -> None:
    over = threading.Event()
    with (
        Bridge(Gateway(lambda right, _b: right), "tcp") as bridge,
        opened(port_at(bridge.address)) as port,
    ):

        def flood() -> None:
            while not over.is_set():
                bridge.send(bytes.fromhex("fffe 0000 0005 07 03 02 ffff") * 300)

        source = threading.Thread(target=flood)
        source.start()
        assert all(one(port).value != pytest.approx(6553.5) for _ in range(4))
        over.set()
        port.close()
        source.join()
