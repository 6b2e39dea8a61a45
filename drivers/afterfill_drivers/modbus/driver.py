"""The entry point of the Modbus driver: checks that probes can share a port, then makes it."""

from collections.abc import Sequence

from afterfill.errors import ConfigError
from afterfill.ports import ProbePort, ProbeSpec
from afterfill_drivers.byte_port import BRIDGES, check_line_keys
from afterfill_drivers.network.address import Address, address_of

from .asking import settings_of
from .probe import ModbusPort
from .settings import ModbusSettings

ON_A_LINE = range(1, 248)  # 0 is broadcast, above 247 reserved; over TCP both may mean the peer


class ModbusDriver:
    """Probes read by Modbus RTU, or by Modbus TCP where the port is `tcp://`."""

    @property
    def settings(self) -> type[ModbusSettings]:
        """The driver's own keys."""
        return ModbusSettings

    def port(self, device: str, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port. Raises ConfigError when the probes do not agree about the line."""
        if not probes:
            raise ConfigError(f"port {device}: no probe is on it; name one or remove the port")
        address = address_of(device, (*BRIDGES, "tcp"))
        check_line_keys(device, probes)
        if address is not None and address.scheme == "tcp":
            return _over_tcp(address, probes)
        for probe in probes:
            _check_on_a_line(device, probes[0], probe)
        return ModbusPort(device, probes)


def _over_tcp(address: Address, probes: Sequence[ProbeSpec]) -> ProbePort:
    from .tcp_probe import ModbusTcpPort

    return ModbusTcpPort(address, probes)


def _check_on_a_line(device: str, first: ProbeSpec, probe: ProbeSpec) -> None:
    if settings_of(probe).line_keys != settings_of(first).line_keys:
        raise ConfigError(
            f"port {device}: probes '{first.name}' and '{probe.name}' differ in "
            "baud, parity or stopbits; make these keys equal"
        )
    if settings_of(probe).device not in ON_A_LINE:
        raise ConfigError(
            f"port {device}: probe '{probe.name}' has device {settings_of(probe).device}; on a "
            "line a device has 1 to 247"
        )


DRIVER = ModbusDriver()
