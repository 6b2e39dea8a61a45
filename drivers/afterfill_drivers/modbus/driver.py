"""The entry point of the Modbus driver: checks that probes can share a port, then makes it."""

from collections.abc import Sequence

from afterfill.errors import ConfigError
from afterfill.ports import ProbePort, ProbeSpec

from .probe import ModbusPort, settings_of
from .settings import ModbusSettings


class ModbusDriver:
    """Probes read by Modbus RTU."""

    @property
    def settings(self) -> type[ModbusSettings]:
        """The driver's own keys."""
        return ModbusSettings

    def port(self, device: str, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port. Raises ConfigError when the probes do not agree about the line."""
        if not probes:
            raise ConfigError(f"port {device}: no probe is on it; name one or remove the port")
        for probe in probes:
            if settings_of(probe).line_keys != settings_of(probes[0]).line_keys:
                raise ConfigError(
                    f"port {device}: probes '{probes[0].name}' and '{probe.name}' differ in "
                    "baud, parity or stopbits; make these keys equal"
                )
        return ModbusPort(device, probes)


DRIVER = ModbusDriver()
