"""A serial line behind a bridge that sets it as we ask: RFC 2217 over TCP.

pyserial's own client is not used: it reads in a thread of its own into a queue without a bound,
asks the bridge before each question to forget what it has, may take 20 s to open, and cannot have
a time-out for what it sends.
"""

import time
from collections.abc import Callable

from afterfill.errors import DeviceUnavailable
from afterfill_drivers.hush import drop

from .address import Address
from .socket_port import SocketPort
from .telnet import (
    NO_FLOW_CONTROL,
    PURGE,
    PURGE_RECEIVED,
    SET_BAUD,
    SET_CONTROL,
    SET_DATA,
    SET_PARITY,
    SET_STOP,
    Telnet,
    escaped,
    line_settings,
    setting,
)

AGREE_S = 3.0  # for all that is said before the first question
_HEAR_S = 0.1  # for what a bridge says of itself between two bytes of the line
_CALLED = {SET_BAUD: "baud", SET_DATA: "8 data bits", SET_PARITY: "parity", SET_STOP: "stop bits"}


class Rfc2217Port:
    """As SocketPort; the bridge sets baud, parity and stop bits when it is opened."""

    remembers = SocketPort.remembers
    holds = SocketPort.holds

    def __init__(self, address: Address, *, baud: int, parity: str, stopbits: float) -> None:
        self._device = address.device
        self._socket = SocketPort(address)
        self._wanted = line_settings(baud, parity, stopbits)
        self._telnet = Telnet()

    def open(self) -> None:
        """Connect and have the line set. DeviceUnavailable also says: no such bridge, or one that
        does not set its line so."""
        self._socket.open()
        self._telnet = Telnet()
        try:
            self._agree(time.monotonic() + AGREE_S)
        except DeviceUnavailable:
            self.close()
            raise

    def send(self, data: bytes) -> None:
        """Write all of `data`."""
        self._socket.send(escaped(data))

    def receive(self, until_s: float) -> bytes:
        """The line's bytes, as soon as there are any; empty at monotonic time `until_s`."""
        over_s = max(until_s, time.monotonic() + _HEAR_S)
        while True:
            came = self._socket.receive(until_s)
            plain = self._understood(came)
            if plain or not came or time.monotonic() > over_s:
                return plain

    def discard(self, quiet_s: float = 0.0) -> None:
        """Forget what came, see SocketPort; what the bridge says of itself is still heard."""
        drop(self.receive, quiet_s)

    def close(self) -> None:
        """Let go. Safe after a failed open, and twice."""
        self._socket.close()

    def _understood(self, came: bytes) -> bytes:
        plain = self._telnet.feed(came)
        owed, self._telnet.owed = self._telnet.owed, b""
        if owed:
            self._socket.send(owed)
        return plain

    def _agree(self, end_s: float) -> None:
        self._socket.send(self._telnet.greeting())
        self._hear_until(lambda: self._telnet.speaks is not None, end_s)
        if not self._telnet.speaks:
            raise DeviceUnavailable(
                f"port {self._device} does not speak RFC 2217: write socket:// for a bridge that "
                "sets its line itself"
            )
        asked = b"".join(setting(*it) for it in self._wanted.items())
        asked += setting(SET_CONTROL, bytes([NO_FLOW_CONTROL]))
        self._socket.send(asked + setting(PURGE, bytes([PURGE_RECEIVED])))
        self._hear_until(lambda: self._telnet.settings.keys() >= self._wanted.keys(), end_s)
        for command, value in self._wanted.items():
            if self._telnet.settings.get(command) != value:
                raise DeviceUnavailable(f"port {self._device} {self._refusal(command)}")

    def _hear_until(self, heard: Callable[[], bool], end_s: float) -> None:
        """What the line itself says meanwhile is older than our first question."""
        while not heard() and time.monotonic() < end_s:
            self._understood(self._socket.receive(end_s))

    def _refusal(self, command: int) -> str:
        what, found = _CALLED[command], self._telnet.settings.get(command)
        if found is None:
            return f"does not say that its {what} is set: look at the bridge"
        said = int.from_bytes(found, "big")
        return f"cannot have the {what} that is asked (it says {said}): look at the bridge"
