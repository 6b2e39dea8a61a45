"""A Modbus RTU device with ORP, pH and temperature in its input and holding registers; pure.

Register 0: ORP, int16, 0.1 mV. Register 1: pH, uint16, 0.01. Register 2: temperature, int16,
0.01 degrees C. Registers 10, 12, 14: the same three as float32, high word first.
"""

import struct
from collections.abc import Callable, Mapping

from afterfill.records import Quantity

REQUEST_BYTES = 8
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS = 1, 2


class ModbusDevice:
    """Answers reads of its registers as `device`; silent for other devices and spoilt frames."""

    def __init__(self, device: int, measure: Callable[[], Mapping[Quantity, float]]) -> None:
        self._device = device
        self._measure = measure
        self._pending = b""

    def answer(self, received: bytes) -> bytes:
        """The reply to a request that `received` completes."""
        self._pending = (self._pending + received)[-REQUEST_BYTES:]
        request = self._pending
        if len(request) < REQUEST_BYTES or request != _with_crc(request[:-2]):
            return b""
        self._pending = b""
        device, function, register, count = struct.unpack(">BBHH", request[:-2])
        if device != self._device:
            return b""
        return _with_crc(bytes([device]) + self._reply(function, register, count))

    def _reply(self, function: int, register: int, count: int) -> bytes:
        if function not in (3, 4):
            return bytes([function | 0x80, ILLEGAL_FUNCTION])
        held = self._registers()
        wanted = [held.get(at) for at in range(register, register + count)]
        words = [word for word in wanted if word is not None]
        if not words or len(words) != count:
            return bytes([function | 0x80, ILLEGAL_ADDRESS])
        return bytes([function, 2 * count]) + b"".join(words)

    def _registers(self) -> dict[int, bytes]:
        now = self._measure()
        orp_mv, ph, temperature_c = now["orp"], now["ph"], now["temperature"]
        held = dict(enumerate(_words(">hHh", orp_mv * 10, ph * 100, temperature_c * 100)))
        floats = struct.pack(">fff", orp_mv, ph, temperature_c)
        return held | {10 + at: floats[2 * at : 2 * at + 2] for at in range(6)}


def _words(layout: str, *values: float) -> list[bytes]:
    packed = struct.pack(layout, *(round(value) for value in values))
    return [packed[at : at + 2] for at in range(0, len(packed), 2)]


def _with_crc(body: bytes) -> bytes:
    crc = 0xFFFF  # a second implementation: sharing the driver's code would share its bugs
    for byte in body:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 * (crc & 1))
    return body + struct.pack("<H", crc)
