"""A serial line behind a bridge in the network, or a device of its own there: bytes over TCP.

pyserial's own handler of socket:// is not used: it waits 5 s for each address of a name, takes no
notice of a peer that is gone without a word, reads byte by byte and sleeps when it is closed.
"""

import errno
import select
import socket
import time
from contextlib import suppress

from afterfill.errors import DeviceUnavailable
from afterfill_drivers.hush import drop

from .address import Address

CONNECT_S = 3.0  # for all addresses of a name together
SEND_S = 2.0  # a request is a few bytes; a peer that takes none is as good as gone
LARGEST_CHUNK = 4096
_GONE_S = 10  # unanswered for so long, the peer is believed gone
_PROBES = {
    socket.TCP_KEEPIDLE: 10,
    socket.TCP_KEEPINTVL: 5,
    socket.TCP_KEEPCNT: 2,
    socket.TCP_USER_TIMEOUT: 1000 * _GONE_S,
    socket.TCP_NODELAY: 1,
}


class SocketPort:
    """A connection that only we use on this machine: made -> `open` -> `send`, `receive`,
    `discard` -> `close`. Every method but `close` raises DeviceUnavailable when it is away."""

    remembers = True  # a bridge may hand on what the probe said before we came
    holds = 32_768  # a kernel takes more for each connection before it makes the sender wait

    def __init__(self, address: Address) -> None:
        self._address = address
        self._socket: socket.socket | None = None
        self._held: socket.socket | None = None

    def open(self) -> None:
        """Connect. DeviceUnavailable says: not known, refused, silent, or held by another."""
        self.close()
        try:
            self._socket = self._connected()
        except (OSError, UnicodeError) as error:  # a name may be no name at all: UnicodeError
            self.close()
            raise DeviceUnavailable(f"{self._named} {_how_to_mend(error)}") from error

    def send(self, data: bytes) -> None:
        """Write all of `data`."""
        try:
            self._line.sendall(data)
        except OSError as error:
            raise self._lost(error) from error

    def receive(self, until_s: float) -> bytes:
        """The bytes that came, as soon as there are any; empty at monotonic time `until_s`."""
        line = self._line
        poll = select.poll()
        poll.register(line, select.POLLIN)
        try:
            if not poll.poll(max(0.0, until_s - time.monotonic()) * 1000):
                return b""
            data = line.recv(LARGEST_CHUNK)
        except OSError as error:
            raise self._lost(error) from error
        if not data:
            raise self._lost(ConnectionResetError("closed"))
        return data

    def discard(self, quiet_s: float = 0.0) -> None:
        """Forget what came. With `quiet_s`, also what still comes; see `hush`."""
        drop(self.receive, quiet_s)

    def close(self) -> None:
        """Let go. Safe after a failed open, and twice."""
        sockets = (self._socket, self._held)
        self._socket = self._held = None
        for it in sockets:
            if it is not None:
                with suppress(OSError):
                    it.close()

    @property
    def _named(self) -> str:
        return f"port {self._address.device}"

    @property
    def _line(self) -> socket.socket:
        if self._socket is None:
            raise DeviceUnavailable(f"{self._named} is not open: open it first")
        return self._socket

    def _connected(self) -> socket.socket:
        end_s = time.monotonic() + CONNECT_S
        host, port = self._address.host, self._address.port
        failure = OSError("no address")
        for family, _, _, _, where in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM):
            try:
                return self._reached(family, where, end_s)
            except _HeldError:
                raise
            except OSError as error:
                failure = error
        raise failure

    def _reached(self, family: int, where: tuple[object, ...], end_s: float) -> socket.socket:
        self.close()
        self._held = _held_alone(f"{where[0]} {where[1]}")
        line = self._socket = socket.socket(family, socket.SOCK_STREAM)
        line.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for option, value in _PROBES.items():
            line.setsockopt(socket.IPPROTO_TCP, option, value)
        line.settimeout(max(0.05, end_s - time.monotonic()))
        line.connect(where)
        line.settimeout(SEND_S)
        return line

    def _lost(self, error: OSError) -> DeviceUnavailable:
        why = f"look at the other side's power and network ({error})"
        if isinstance(error, ConnectionError):
            why = (
                "the other side ended the connection; was it started again, or is another "
                "program connected to it?"
            )
        return DeviceUnavailable(f"{self._named} was lost: {why}")


class _HeldError(OSError):
    """Another process of this machine is connected there."""


def _held_alone(where: str) -> socket.socket:
    """A mark that only one process may hold, and that its end lets go: TCP has no lock of its own.

    A name of the kernel's (abstract), so that neither rights nor a file left over matter."""
    held = socket.socket(socket.AF_UNIX)
    try:
        held.bind(f"\0afterfill port {where}")
    except OSError as error:
        held.close()
        raise _HeldError(str(error)) from error
    return held


def _how_to_mend(error: Exception) -> str:
    code = getattr(error, "errno", None)
    match error:
        case _HeldError():
            return "is held by another program: stop it, two readers spoil each other's replies"
        case socket.gaierror() | UnicodeError():
            return f"is not known by that name: correct it, or write its address ({error})"
        case ConnectionRefusedError():
            return "refuses the connection: is the bridge running, and is the number right?"
        case TimeoutError():
            return f"did not answer within {CONNECT_S:g} s: is it switched on, and in this network?"
    if code in (errno.EHOSTUNREACH, errno.ENETUNREACH):
        return f"cannot be reached from here: look at the network ({error})"
    return f"cannot be connected to: look at the address and the network ({error})"
