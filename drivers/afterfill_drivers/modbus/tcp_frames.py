"""Modbus TCP frames to registers and back to reasons; pure.

    request   | number hi lo | 0 0 | length hi lo | unit | function | register hi lo | count hi lo |
    reply     | number hi lo | 0 0 | length hi lo | unit | function | bytes | hi lo ... hi lo |
    exception | number hi lo | 0 0 | length hi lo | unit | function + 80h | code |

`length` counts what follows it. A reply carries the number of its request, so a late one cannot be
taken for the next.
Source: Modbus Organization, MODBUS Messaging on TCP/IP Implementation Guide V1.0b (2006) and MODBUS
Application Protocol V1.1b3 (2012); from memory, held against pymodbus by the tests.
"""

import struct

from afterfill.records import InvalidReason

from .frames import EXCEPTION, Answer, Question

HEAD = struct.Struct(">HHHB")  # number, protocol, length of unit and what follows, unit
LONGEST = 260  # no frame is longer
_TARGET_SILENT = 11  # a gateway's word for a device behind it that does not answer


def request(number: int, question: Question) -> bytes:
    """The bytes of a question; `number` is 0 to 65535."""
    asked = struct.pack(">BHH", question.function, question.register, question.words)
    return HEAD.pack(number, 0, 1 + len(asked), question.device) + asked


def understand(number: int, question: Question, received: bytes) -> Answer:
    """What came after a request, read as its answer; replies to other requests are passed over."""
    rest = received
    while len(rest) >= HEAD.size:
        theirs, protocol, length, unit = HEAD.unpack_from(rest)
        if protocol != 0 or not 3 <= length <= LONGEST - 6:
            return Answer(b"", "garbled", received)
        whole, rest = rest[: 6 + length], rest[6 + length :]
        if len(whole) < 6 + length:
            return Answer(b"", "incomplete", received)
        if theirs == number:
            return Answer(whole[9:], _reason(question, unit, whole[7:]), received)
    return Answer(b"", "incomplete" if rest else "no-answer", received)


def _reason(question: Question, unit: int, said: bytes) -> InvalidReason | None:
    if unit != question.device:
        return "wrong-device"
    if said[0] == question.function | EXCEPTION:
        return "no-answer" if said[1] == _TARGET_SILENT else "error-reply"
    size = 2 * question.words
    if said[0] != question.function or said[1] != size or len(said) != 2 + size:
        return "garbled"
    return None
