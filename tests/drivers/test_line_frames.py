"""Lines of text: cutting them, judging them, and never growing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.ports import ProbeSpec
from afterfill.records import InvalidReason
from afterfill_drivers.line.frames import LineBuffer, is_echo, judge, without_echo
from afterfill_drivers.line.probe import _Exchange
from afterfill_drivers.line.settings import LineSettings

PATTERN = r"ORP=(?P<orp>-?[\d.]+);PH=(?P<ph>[\d.]+)"
WHOLE = LineSettings(request="R\r", pattern=PATTERN, error_replies=("^ERR",))
CELLS = LineSettings(request="R\r", column=2)


@pytest.mark.parametrize(
    ("chunks", "lines"),
    [
        ([b"a\r\nb\r\n"], [b"a", b"b"]),
        ([b"a\r", b"\nb"], [b"a"]),
        ([b"a", b"b", b"\r\n"], [b"ab"]),
        ([b"123456789\r\n", b"c\r\n"], [b"c"]),
        ([b"1234567890", b"1234567890", b"12\r\nc\r\n"], [b"c"]),
        ([b"12345678\r", b"\nc\r\n"], [b"12345678", b"c"]),
    ],
    ids=["two", "split-end", "split-text", "too-long", "too-long-in-parts", "just-fits"],
)
def test_buffer_cuts_lines(chunks: list[bytes], lines: list[bytes]) -> None:
    buffer = LineBuffer(b"\r\n", 8)
    assert [line for chunk in chunks for line in buffer.feed(chunk)] == lines


@pytest.mark.parametrize(
    ("line", "settings", "value", "reason"),
    [
        (b"ORP=412.3;PH=7.2", WHOLE, 412.3, None),
        (b" ORP=-5;PH=7.2\0", WHOLE, -5.0, None),
        (b"1,412", CELLS, 412.0, None),
        (b"1, +4.1e2 ", CELLS, 410.0, None),
        (b"ERR 3", WHOLE, None, "error-reply"),
        (b"ORP=1501;PH=7.2", WHOLE, None, "out-of-range"),
        (b"1,1e999", CELLS, None, "out-of-range"),
    ],
)
def test_line_of_the_right_form_gives_a_sample(
    line: bytes, settings: LineSettings, value: float | None, reason: InvalidReason | None
) -> None:
    sample = judge(line, ProbeSpec("p", "orp", settings), settings)
    assert sample is not None
    assert (sample.value, sample.invalid, sample.raw) == (value, reason, line)


@pytest.mark.parametrize(
    "line",
    [b"", b"RP=412.3;PH=7.2", b"ORP=412.3;PH=7.2;T=1", b"ORP=4.1.2;PH=7.2", b"ORP=.;PH=7"],
)
def test_line_of_another_form_is_not_the_reply(line: bytes) -> None:
    assert judge(line, ProbeSpec("p", "orp", WHOLE), WHOLE) is None


@pytest.mark.parametrize(
    "cell", [b"nan", b"inf", b"1_0", b"0x1f", b"", b"4 12", b"412\x1d", "٣".encode()]
)
def test_only_plain_decimal_numbers_count(cell: bytes) -> None:
    assert judge(b"1," + cell, ProbeSpec("p", "orp", CELLS), CELLS) is None


def test_echo_is_cut_off_only_when_the_request_ends_a_line() -> None:
    assert without_echo(b"R\r1,2\r\n", b"R\r") == (b"1,2\r\n", True)
    assert without_echo(b"T=24\r\n", b"T") == (b"T=24\r\n", False)


def test_line_that_is_our_request_is_an_echo() -> None:
    assert is_echo(b"R", b"R\r")
    assert not is_echo(b"", b"\r")


@given(st.lists(st.binary(max_size=64), max_size=40))
def test_any_bytes_leave_the_buffer_bounded(chunks: list[bytes]) -> None:
    buffer = LineBuffer(b"\r\n", 16)
    for chunk in chunks:
        assert all(len(line) <= 16 for line in buffer.feed(chunk))
        assert len(buffer.pending) <= 16 + len(b"\r\n")


@given(st.lists(st.sampled_from(b"R\r\nORP=412.3;PH7\xff"), max_size=80), st.integers(1, 9))
def test_any_reply_ends_in_a_value_or_a_reason(codes: list[int], size: int) -> None:
    data = bytes(codes)
    probe = ProbeSpec("p", "orp", WHOLE)
    exchange = _Exchange(b"R\r", [probe])
    for at in range(0, len(data), size):
        exchange.take(data[at : at + size])
    sample = exchange.sample(probe)
    assert (sample.value is None) == (sample.invalid is not None)


@given(st.integers(1, 30), st.booleans())
def test_a_reply_in_pieces_is_the_same_reply(size: int, echoed: bool) -> None:
    data = b"R\r" * echoed + b"ORP=412.3;PH=7.2\r\n"
    probe = ProbeSpec("p", "orp", WHOLE)
    exchange = _Exchange(b"R\r", [probe])
    for at in range(0, len(data), size):
        exchange.take(data[at : at + size])
    assert exchange.done
    assert exchange.sample(probe).value == 412.3
