"""Reads the kernel's files of the sensors on one 1-wire bus."""

from collections.abc import Sequence
from pathlib import Path

from afterfill.errors import DeviceUnavailable
from afterfill.ports import ProbeSpec, Sample, sample_of

from .frames import LONGEST, Found, from_temperature, from_w1_slave
from .settings import OnewireSettings


def settings_of(probe: ProbeSpec) -> OnewireSettings:
    """The probe's settings as the model they were validated by."""
    assert isinstance(probe.settings, OnewireSettings)
    return probe.settings


class OnewirePort:
    """The folder of one bus and its sensors; nothing stays open between readings.

    A missing folder is a lost port; a missing sensor is a probe that does not answer.
    """

    def __init__(self, device: str, probes: Sequence[ProbeSpec]) -> None:
        self._bus = Path(device)
        self._probes = {probe.name: probe for probe in probes}

    def open(self) -> None:
        """Raises DeviceUnavailable when the kernel shows no such bus."""
        if not self._bus.is_dir():
            raise DeviceUnavailable(
                f"port {self._bus} is not there: enable 1-wire on the Pi (dtoverlay=w1-gpio)"
            )

    def close(self) -> None:
        """Nothing is held."""

    def read(self, due: Sequence[str]) -> list[Sample]:
        """One sample for each probe in `due`; the kernel waits some 0.75 s for each."""
        self.open()
        return [self._sample(self._probes[name]) for name in due]

    def _sample(self, probe: ProbeSpec) -> Sample:
        settings = settings_of(probe)
        file = self._file(settings)
        try:
            content = _content(file)
        except OSError as error:
            # EIO: the kernel tried, and either no device answered or no reply was whole
            return Sample(probe.name, None, "no-answer", str(error).encode())
        found = _decode(file.name, content)
        if found.temperature_c is None:
            return Sample(probe.name, None, found.invalid, content)
        return sample_of(probe, found.temperature_c, content)

    def _file(self, settings: OnewireSettings) -> Path:
        folder = self._bus / settings.sensor
        if settings.file != "auto":
            return folder / settings.file
        newer = folder / "temperature"
        return newer if newer.exists() else folder / "w1_slave"


def _content(file: Path) -> bytes:
    with file.open("rb", buffering=0) as opened:
        return opened.read(LONGEST) or b""


def _decode(name: str, content: bytes) -> Found:
    return from_temperature(content) if name == "temperature" else from_w1_slave(content)
