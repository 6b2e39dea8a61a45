"""The kernel's two files of a 1-wire temperature sensor to degrees C; pure.

    temperature   24812                                                     millidegrees
    w1_slave      8c 01 4b 46 7f ff 0c 10 5e : crc=5e YES
                  8c 01 4b 46 7f ff 0c 10 5e t=24750

Source: Linux kernel documentation, w1_therm; from memory.
"""

import re
from typing import NamedTuple

from afterfill.records import InvalidReason

POWER_UP_MILLIDEGREES = 85_000  # what the chip holds before its first conversion
LONGEST = 256
_MILLIDEGREES = re.compile(rb"-?\d{1,6}")
_CHECKED = re.compile(rb"crc=[0-9a-f]{2} (YES|NO)")
_VALUE = re.compile(rb"\bt=(-?\d{1,6})\s*$")


class Found(NamedTuple):
    """A temperature [degrees C], or the reason why there is none."""

    temperature_c: float | None
    invalid: InvalidReason | None = None


def from_temperature(content: bytes) -> Found:
    """What the `temperature` file says."""
    text = content.strip()
    if not text:
        return Found(None, "no-answer")
    return _judge(int(text)) if _MILLIDEGREES.fullmatch(text) else Found(None, "garbled")


def from_w1_slave(content: bytes) -> Found:
    """What the older `w1_slave` file says; its CRC verdict is the kernel's."""
    if not content.strip():
        return Found(None, "no-answer")
    checked, value = _CHECKED.search(content), _VALUE.search(content)
    if checked is not None and checked[1] == b"NO":
        return Found(None, "bad-checksum")
    if checked is None:
        return Found(None, "garbled")
    return Found(None, "incomplete") if value is None else _judge(int(value[1]))


def _judge(millidegrees: int) -> Found:
    # A tank never is at 85 degrees, so that number is never believed.
    if millidegrees == POWER_UP_MILLIDEGREES:
        return Found(None, "power-up-value")
    return Found(millidegrees / 1000)
