"""What all Modbus ports have in common: each due probe is asked, and its registers are a number."""

from abc import ABC, abstractmethod
from collections.abc import Sequence

from afterfill.ports import ProbeSpec, Sample, sample_of

from .frames import Answer, Question, number
from .settings import ModbusSettings


def settings_of(probe: ProbeSpec) -> ModbusSettings:
    """The probe's settings as the model they were validated by."""
    assert isinstance(probe.settings, ModbusSettings)
    return probe.settings


class AskingPort(ABC):
    """Reads probes one after the other by `_ask`."""

    def __init__(self, probes: Sequence[ProbeSpec]) -> None:
        self._probes = {probe.name: probe for probe in probes}

    def read(self, due: Sequence[str]) -> list[Sample]:
        """One sample for each probe in `due`, asked in that order."""
        return [self._sample(self._probes[name]) for name in due]

    @abstractmethod
    def _ask(self, question: Question, timeout_s: float) -> Answer:
        """Send the question and wait for its answer."""

    def _sample(self, probe: ProbeSpec) -> Sample:
        settings = settings_of(probe)
        question = Question(settings.device, settings.function, settings.register_, settings.words)
        answer = self._ask(question, settings.timeout_s)
        if answer.invalid is not None:
            return Sample(probe.name, None, answer.invalid, answer.raw)
        return sample_of(probe, number(answer.data, settings), answer.raw)
