"""The one place that tells a serial port of this machine from one in the network."""

from collections.abc import Sequence
from typing import Protocol

from afterfill.errors import ConfigError
from afterfill.ports import PLAIN_ADDRESSES, SETS_LINE, ProbeSpec

from .network.address import address_of
from .network.rfc2217_port import Rfc2217Port
from .network.socket_port import SocketPort
from .serial_port import SerialPort

BRIDGES = ("socket", "rfc2217")


class BytePort(Protocol):
    """Bytes to and from probes: made -> `open` -> `send`, `receive`, `discard` -> `close`.

    Every method but `close` raises DeviceUnavailable when it is away. `remembers`: it may begin
    with what was said before it was opened; `holds`: so many bytes wait unread without loss."""

    @property
    def remembers(self) -> bool: ...

    @property
    def holds(self) -> int: ...

    def open(self) -> None: ...

    def send(self, data: bytes) -> None: ...

    def receive(self, until_s: float) -> bytes: ...

    def discard(self, quiet_s: float = 0.0) -> None: ...

    def close(self) -> None: ...


def byte_port(device: str, *, baud: int, parity: str, stopbits: float) -> BytePort:
    """A closed port on a path or an address. Raises ConfigError for an address of no use."""
    address = address_of(device, BRIDGES)
    if address is None:
        return SerialPort(device, baud=baud, parity=parity, stopbits=stopbits)
    if address.scheme == "rfc2217":
        return Rfc2217Port(address, baud=baud, parity=parity, stopbits=stopbits)
    return SocketPort(address)


def check_line_keys(device: str, probes: Sequence[ProbeSpec]) -> None:
    """Raises ConfigError when a probe sets what means nothing there: a plain bridge's speed."""
    if not device.startswith(PLAIN_ADDRESSES):
        return
    for probe in probes:
        fields = type(probe.settings).model_fields
        for key in sorted(probe.settings.model_fields_set):
            if fields[key].json_schema_extra == SETS_LINE:
                raise ConfigError(
                    f"port {device}: probe '{probe.name}' sets {key}, which means nothing there: "
                    "leave it out (the other side sets its line itself; a bridge of rfc2217:// "
                    "sets it as asked)"
                )
