"""The entry point of the 1-wire driver."""

from collections.abc import Sequence

from afterfill.errors import ConfigError
from afterfill.ports import ProbePort, ProbeSpec

from .probe import OnewirePort
from .settings import OnewireSettings


class OnewireDriver:
    """Temperature sensors on the kernel's 1-wire bus."""

    @property
    def settings(self) -> type[OnewireSettings]:
        """The driver's own keys."""
        return OnewireSettings

    def port(self, device: str, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port. Raises ConfigError when a probe measures anything but temperature."""
        if "://" in device:
            raise ConfigError(
                f"port {device}: 1-wire sensors are read from a folder of this machine's kernel, "
                "/sys/bus/w1/devices"
            )
        for probe in probes:
            if probe.quantity != "temperature":
                raise ConfigError(
                    f"port {device}: probe '{probe.name}' measures {probe.quantity}, but 1-wire "
                    'sensors give temperature; write quantity = "temperature"'
                )
        return OnewirePort(device, probes)


DRIVER = OnewireDriver()
