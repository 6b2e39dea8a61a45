"""Owns the port of Modbus devices: one question at a time, silence between frames."""

import time
from collections.abc import Sequence

from afterfill.ports import ProbeSpec, Sample, sample_of
from afterfill_drivers.serial_port import SerialPort

from .frames import LONGEST, Answer, Question, number, understand
from .settings import ModbusSettings

BITS_PER_BYTE = 11
FAST_BAUD = 19200
FAST_GAP_S = 0.00175  # above 19200 baud the norm fixes the gap (from memory)


def settings_of(probe: ProbeSpec) -> ModbusSettings:
    """The probe's settings as the model they were validated by."""
    assert isinstance(probe.settings, ModbusSettings)
    return probe.settings


def frame_gap_s(baud: int) -> float:
    """The silence [s] that must stand between two frames: 3.5 characters."""
    return FAST_GAP_S if baud > FAST_BAUD else 3.5 * BITS_PER_BYTE / baud


class ModbusPort:
    """Asks each due probe in turn: made -> open -> read -> close."""

    def __init__(self, device: str, probes: Sequence[ProbeSpec]) -> None:
        first = settings_of(probes[0])
        self._probes = {probe.name: probe for probe in probes}
        self._serial = SerialPort(
            device, baud=first.baud, parity=first.parity, stopbits=first.stopbits
        )
        self._gap_s = frame_gap_s(first.baud)
        self._quiet_from_s = 0.0
        self._owed_s = 0.0  # an answer may still come to a question that timed out

    def open(self) -> None:
        """Connect; see SerialPort."""
        self._serial.open()
        self._owed_s = 0.0

    def close(self) -> None:
        """Let go of the port."""
        self._serial.close()

    def read(self, due: Sequence[str]) -> list[Sample]:
        """One sample for each probe in `due`, asked in that order."""
        return [self._sample(self._probes[name]) for name in due]

    def _sample(self, probe: ProbeSpec) -> Sample:
        settings = settings_of(probe)
        question = Question(settings.device, settings.function, settings.register_, settings.words)
        answer = self._ask(question, settings.timeout_s)
        if answer.invalid is not None:
            return Sample(probe.name, None, answer.invalid, answer.raw)
        return sample_of(probe, number(answer.data, settings), answer.raw)

    def _ask(self, question: Question, timeout_s: float) -> Answer:
        self._serial.discard(self._owed_s)
        while self._serial.receive(self._quiet_from_s):
            pass
        self._serial.send(question.frame())
        answer = self._answer(question, time.monotonic() + timeout_s)
        self._quiet_from_s = time.monotonic() + self._gap_s
        self._owed_s = 0.0 if answer.invalid in (None, "error-reply") else timeout_s
        return answer

    def _answer(self, question: Question, end_s: float) -> Answer:
        received = b""
        while True:
            data = self._serial.receive(end_s)
            received = (received + data)[:LONGEST]
            answer = understand(question, received)
            over = not data or time.monotonic() > end_s
            if over or answer.invalid in (None, "error-reply"):
                return answer
