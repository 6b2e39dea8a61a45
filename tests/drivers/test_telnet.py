"""Telnet and RFC 2217 as bytes, held against pyserial's module of the same name."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from serial import rfc2217

from afterfill_drivers.network import telnet
from afterfill_drivers.network.telnet import Telnet, escaped, line_settings, option, setting

THEIRS = {
    "IAC": rfc2217.IAC, "DONT": rfc2217.DONT, "DO": rfc2217.DO, "WONT": rfc2217.WONT,
    "WILL": rfc2217.WILL, "SB": rfc2217.SB, "SE": rfc2217.SE, "BINARY": rfc2217.BINARY,
    "ECHO": rfc2217.ECHO, "GO_AHEAD": rfc2217.SGA, "COM_PORT": rfc2217.COM_PORT_OPTION,
    "SET_BAUD": rfc2217.SET_BAUDRATE, "SET_DATA": rfc2217.SET_DATASIZE,
    "SET_PARITY": rfc2217.SET_PARITY, "SET_STOP": rfc2217.SET_STOPSIZE,
    "SET_CONTROL": rfc2217.SET_CONTROL, "PURGE": rfc2217.PURGE_DATA,
    "NO_FLOW_CONTROL": rfc2217.SET_CONTROL_USE_NO_FLOW_CONTROL,
    "PURGE_RECEIVED": rfc2217.PURGE_RECEIVE_BUFFER,
}  # fmt: skip


@pytest.mark.parametrize("name", THEIRS)
def test_every_number_is_that_of_another_implementation(name: str) -> None:
    assert bytes([getattr(telnet, name)]) == THEIRS[name]


@pytest.mark.parametrize("parity", ["N", "E", "O"])
def test_settings_are_those_of_another_implementation(parity: str) -> None:
    wanted = line_settings(19200, parity, 2)
    assert wanted[telnet.SET_PARITY] == bytes([rfc2217.RFC2217_PARITY_MAP[parity]])
    assert wanted[telnet.SET_STOP] == bytes([rfc2217.RFC2217_STOPBIT_MAP[2]])
    assert wanted[telnet.SET_BAUD] == bytes.fromhex("00004b00")
    assert bytes([telnet.SET_BAUD + telnet.ANSWER]) == rfc2217.SERVER_SET_BAUDRATE


@given(st.lists(st.binary(max_size=20)))
def test_bytes_of_the_line_come_out_as_they_went_in(parts: list[bytes]) -> None:
    it = Telnet()
    assert b"".join(it.feed(escaped(part)) for part in parts) == b"".join(parts)


@given(st.binary(max_size=60), st.integers(1, 7))
def test_what_is_said_of_the_line_is_never_its_bytes(data: bytes, piece: int) -> None:
    """In pieces of any size, words about options and settings fall out."""
    sent = option(telnet.DO, telnet.BINARY) + escaped(data) + setting(107, b"\xff\x30") + b"x"
    it = Telnet()
    got = b"".join(it.feed(sent[at : at + piece]) for at in range(0, len(sent), piece))
    assert got == data + b"x"
    assert it.settings == {7: b"\xff\x30"}
    assert it.owed == option(telnet.WILL, telnet.BINARY)


NOISE = st.lists(st.sampled_from([255, 255, 250, 240, 251, 253, 44, 1]) | st.integers(0, 255))


@given(NOISE.map(bytes))
@example(b"\xff\xfa" + b"\xff" * 200)  # a setting without end, of doubled 255
def test_no_bytes_are_too_strange_and_nothing_grows(data: bytes) -> None:
    it = Telnet()
    it.feed(data)
    assert len(it._inside) <= telnet.LONGEST_SETTING
    assert len(it.settings) <= 256
    assert len(it.owed) <= 3 * len(data)


def test_a_word_is_answered_once() -> None:
    it = Telnet()
    it.greeting()
    asked = option(telnet.DO, telnet.BINARY) + option(telnet.DO, 99) + option(telnet.WILL, 98)
    it.feed(asked * 3)
    assert it.owed == option(telnet.WONT, 99) + option(telnet.DONT, 98)
