"""Owns the port of Modbus RTU devices: one question at a time, silence between frames."""

import time
from collections.abc import Sequence

from afterfill.ports import ProbeSpec
from afterfill_drivers.byte_port import byte_port

from .asking import AskingPort, settings_of
from .frames import LONGEST, Answer, Question, understand

BITS_PER_BYTE = 11
FAST_BAUD = 19200
FAST_GAP_S = 0.00175  # above 19200 baud the norm fixes the gap (from memory)


def frame_gap_s(baud: int) -> float:
    """The silence [s] that must stand between two frames: 3.5 characters."""
    return FAST_GAP_S if baud > FAST_BAUD else 3.5 * BITS_PER_BYTE / baud


class ModbusPort(AskingPort):
    """Asks each due probe in turn: made -> open -> read -> close."""

    def __init__(self, device: str, probes: Sequence[ProbeSpec]) -> None:
        super().__init__(probes)
        first = settings_of(probes[0])
        self._port = byte_port(
            device, baud=first.baud, parity=first.parity, stopbits=first.stopbits
        )
        self._patience_s = max(settings_of(probe).timeout_s for probe in probes)
        self._gap_s = frame_gap_s(first.baud)
        self._quiet_from_s = 0.0
        self._owed_s = 0.0  # an answer may still come to a question that timed out

    def open(self) -> None:
        """Connect; see BytePort."""
        self._port.open()
        self._owed_s = self._patience_s if self._port.remembers else 0.0

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def _ask(self, question: Question, timeout_s: float) -> Answer:
        self._port.discard(self._owed_s)
        while time.monotonic() < self._quiet_from_s:
            self._port.receive(self._quiet_from_s)
        self._port.send(question.frame())
        answer = self._answer(question, time.monotonic() + timeout_s)
        self._quiet_from_s = time.monotonic() + self._gap_s
        self._owed_s = 0.0 if answer.invalid in (None, "error-reply") else timeout_s
        return answer

    def _answer(self, question: Question, end_s: float) -> Answer:
        received = b""
        while True:
            data = self._port.receive(end_s)
            received = (received + data)[:LONGEST]
            answer = understand(question, received)
            over = not data or time.monotonic() > end_s
            if over or answer.invalid in (None, "error-reply"):
                return answer
