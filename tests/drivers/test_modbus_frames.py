"""Modbus RTU frames against the norm's own numbers and another implementation."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest

from afterfill.ports import ProbeSpec, sample_of
from afterfill.records import InvalidReason
from afterfill_drivers.modbus.frames import Question, crc16, number, understand, with_crc
from afterfill_drivers.modbus.probe import frame_gap_s
from afterfill_drivers.modbus.settings import ModbusSettings

ASKED = Question(17, 3, 0x6B, 3)
# A frame in wide use as a worked example; from memory.
ASKED_FRAME = bytes.fromhex("11 03 00 6b 00 03 76 87")
REPLY = bytes.fromhex("11 03 06 ae 41 56 52 43 40 49 ad")


def test_check_value_is_that_of_the_crc_catalogue() -> None:
    # CRC-16/MODBUS, check over "123456789"; G. Cook, Catalogue of parametrised CRC algorithms;
    # from memory.
    assert crc16(b"123456789") == 0x4B37


def test_check_value_is_that_of_the_norms_example() -> None:
    # MODBUS over Serial Line V1.02 (2006), CRC generation: device 02h, function 07h; from memory.
    assert with_crc(b"\x02\x07") == bytes.fromhex("02 07 41 12")


def test_worked_request_and_reply() -> None:
    assert ASKED.frame() == ASKED_FRAME
    assert understand(ASKED, REPLY).data == bytes.fromhex("ae41 5652 4340")


@given(st.binary(max_size=64))
def test_check_value_agrees_with_another_implementation(data: bytes) -> None:
    assert crc16(data) == int.from_bytes(FramerRTU.compute_CRC(data).to_bytes(2, "big"), "little")


@given(st.integers(1, 247), st.integers(0, 65000), st.integers(1, 2))
def test_request_agrees_with_another_implementation(device: int, register: int, words: int) -> None:
    theirs = FramerRTU(DecodePDU(True)).buildFrame(
        ReadHoldingRegistersRequest(address=register, count=words, dev_id=device)
    )
    assert Question(device, 3, register, words).frame() == theirs


@pytest.mark.parametrize(
    ("received", "reason"),
    [
        (b"", "no-answer"),
        (REPLY[:1], "incomplete"),
        (REPLY[:-1], "incomplete"),
        (REPLY[:-1] + b"\x00", "bad-checksum"),
        (b"\x00" * 11, "bad-checksum"),
        (with_crc(b"\x11\x83\x02"), "error-reply"),
        (with_crc(b"\x12" + REPLY[1:-2]), "wrong-device"),
        (with_crc(b"\x11\x04" + REPLY[2:-2]), "garbled"),
        (with_crc(b"\x11\x03\x02\x00\x01"), "garbled"),
        (ASKED_FRAME, "echo"),
        (ASKED_FRAME + with_crc(b"\x11\x83\x02"), "error-reply"),
        (ASKED_FRAME + REPLY, None),
        (with_crc(b"\x12\x03\x02\x00\x01") + REPLY, None),
    ],
)
def test_each_way_to_go_wrong_has_its_reason(received: bytes, reason: InvalidReason | None) -> None:
    answer = understand(ASKED, received)
    assert answer.invalid == reason


def test_raw_bytes_are_kept() -> None:
    broken = REPLY[:-1] + b"\x00"
    assert understand(ASKED, broken).raw == broken


@given(st.binary(max_size=300))
def test_any_bytes_are_understood_as_something(received: bytes) -> None:
    answer = understand(ASKED, received)
    assert answer.invalid is not None or len(answer.data) == 6


@given(st.integers(0, 87))
def test_no_flipped_bit_passes(bit: int) -> None:
    flipped = bytearray(REPLY)
    flipped[bit // 8] ^= 1 << bit % 8
    assert understand(ASKED, bytes(flipped)).invalid is not None


@pytest.mark.parametrize(
    ("data", "keys", "value"),
    [
        (b"\x10\x1b", {"scale": 0.1}, 412.3),
        (b"\xff\x88", {"type": "int16"}, -120.0),
        (b"\xff\x88", {"type": "uint16"}, 65416.0),
        (b"\x88\xff", {"type": "int16", "byte_order": "little"}, -120.0),
        (b"\x00\x01\x00\x02", {"type": "uint32"}, 65538.0),
        (b"\xff\xff\xff\xfe", {"type": "int32"}, -2.0),
        (b"\x00\x02\x00\x01", {"type": "uint32", "word_order": "little"}, 65538.0),
        (struct.pack(">f", 7.25), {"type": "float32"}, 7.25),
        (
            struct.pack("<f", 7.25),
            {"type": "float32", "word_order": "little", "byte_order": "little"},
            7.25,
        ),
    ],
)
def test_registers_to_numbers(data: bytes, keys: dict[str, object], value: float) -> None:
    settings = ModbusSettings.model_validate({"device": 1, "register": 0} | keys)
    assert number(data, settings) == pytest.approx(value)


def test_a_float_that_is_no_number_is_out_of_range() -> None:
    settings = ModbusSettings.model_validate({"device": 1, "register": 0, "type": "float32"})
    value = number(struct.pack(">f", float("nan")), settings)
    assert sample_of(ProbeSpec("p", "orp", settings), value, b"").invalid == "out-of-range"


def test_frames_stand_apart_by_three_and_a_half_characters() -> None:
    assert frame_gap_s(9600) == pytest.approx(0.00401, rel=0.01)
    assert frame_gap_s(115200) == 0.00175
