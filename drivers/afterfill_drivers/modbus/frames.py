"""Modbus RTU frames to values and back to reasons; pure.

    request    | device | function | register hi lo | count hi lo | crc lo hi |   8 bytes
    reply      | device | function | bytes | hi lo ... hi lo      | crc lo hi |   5 + 2 n
    exception  | device | function + 80h | code                   | crc lo hi |   5 bytes

Source: Modbus Organization, MODBUS over Serial Line V1.02 (2006) and MODBUS Application Protocol
V1.1b3 (2012); from memory.
"""

import struct
from typing import NamedTuple

from afterfill.records import InvalidReason

from .settings import ModbusSettings

EXCEPTION = 0x80
SHORTEST = 5
LONGEST = 256  # no RTU frame is longer
_FORMATS = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}


class Question(NamedTuple):
    """One read request: `words` registers from `register` (counted from 0) of `device`."""

    device: int
    function: int
    register: int
    words: int

    def frame(self) -> bytes:
        """The bytes on the line."""
        return with_crc(struct.pack(">BBHH", *self))


class Answer(NamedTuple):
    """The registers' bytes, or the reason why there are none; `raw` is what came."""

    data: bytes
    invalid: InvalidReason | None
    raw: bytes


def crc16(data: bytes) -> int:
    """The check value of the frame: polynomial 8005h reflected, start FFFFh."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


def with_crc(body: bytes) -> bytes:
    """A frame's body with its check value, low byte first."""
    return body + struct.pack("<H", crc16(body))


def is_whole(frame: bytes) -> bool:
    """Whether a frame's check value is right."""
    return len(frame) >= SHORTEST and frame == with_crc(frame[:-2])


def understand(question: Question, received: bytes) -> Answer:
    """What came after `question`, read as its answer: found, not yet there, or wrong and why."""
    answer = _frame(question, received)
    request = question.frame()
    if answer.invalid is None or not received.startswith(request):
        return _past_others(question, received, answer)
    rest = received[len(request) :]
    if not rest:
        return Answer(b"", "echo", received)
    return _past_others(question, rest, _frame(question, rest))._replace(raw=received)


def _past_others(question: Question, received: bytes, answer: Answer) -> Answer:
    """Ours may stand behind an answer of another device, or one to a question given up."""
    length = _length(received)
    if answer.invalid is None or not is_whole(received[:length]) or not received[length:]:
        return answer
    behind = understand(question, received[length:])
    return behind if behind.invalid in (None, "error-reply") else answer


def _length(received: bytes) -> int:
    """How long the reply that begins `received` says it is."""
    if len(received) < 3 or received[1] & EXCEPTION:
        return SHORTEST
    return SHORTEST + received[2]


def _frame(question: Question, received: bytes) -> Answer:
    frame = received[: _length(received)]
    return Answer(frame[3:-2], _reason(question, frame, received), received)


def _reason(question: Question, frame: bytes, received: bytes) -> InvalidReason | None:
    if not received:
        return "no-answer"
    if not is_whole(frame):
        return "incomplete" if len(received) < _expected(question, received) else "bad-checksum"
    if frame[0] != question.device:
        return "wrong-device"
    if frame[1] == question.function | EXCEPTION:
        return "error-reply"
    if frame[1] != question.function or frame[2] != 2 * question.words:
        return "garbled"
    return None


def _expected(question: Question, received: bytes) -> int:
    is_exception = received[1:2] == bytes([question.function | EXCEPTION])
    return SHORTEST if is_exception else SHORTEST + 2 * question.words


def number(data: bytes, settings: ModbusSettings) -> float:
    """The number in a reply's register bytes (2 or 4), scaled; may be NaN, which means nothing."""
    words = [data[at : at + 2] for at in range(0, len(data), 2)]
    if settings.byte_order == "little":
        words = [word[::-1] for word in words]
    if settings.word_order == "little":
        words.reverse()
    (value,) = struct.unpack(_FORMATS[settings.type], b"".join(words))
    return float(value) * settings.scale
