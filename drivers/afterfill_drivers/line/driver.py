"""The entry point of the line driver: checks that probes can share a port, then makes it."""

from collections.abc import Sequence

from afterfill.errors import ConfigError
from afterfill.ports import ProbePort, ProbeSpec
from afterfill_drivers.byte_port import check_line_keys

from .frames import group_of
from .probe import LinePort, StreamPort, settings_of
from .settings import LineSettings


class LineDriver:
    """Probes that speak in lines of text."""

    @property
    def settings(self) -> type[LineSettings]:
        """The driver's own keys."""
        return LineSettings

    def port(self, device: str, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port. Raises ConfigError when the probes do not agree about the line."""
        if not probes:
            raise ConfigError(f"port {device}: no probe is on it; name one or remove the port")
        check_line_keys(device, probes)
        first = settings_of(probes[0])
        for probe in probes:
            _check_alike(device, probes[0], probe)
            _check_group(device, probe)
        return StreamPort(device, probes) if first.request is None else LinePort(device, probes)


def _check_alike(device: str, first: ProbeSpec, probe: ProbeSpec) -> None:
    if settings_of(first).line_keys != settings_of(probe).line_keys:
        raise ConfigError(
            f"port {device}: probes '{first.name}' and '{probe.name}' differ in baud, parity, "
            "stopbits, terminator or whether they are asked; make these keys equal"
        )


def _check_group(device: str, probe: ProbeSpec) -> None:
    pattern = settings_of(probe).pattern
    if pattern is not None and group_of(pattern, probe.quantity) is None:
        raise ConfigError(
            f"port {device}: the pattern of probe '{probe.name}' has no group for its number; "
            f"write (?P<{probe.quantity}>...) or (?P<value>...) around it"
        )


DRIVER = LineDriver()
