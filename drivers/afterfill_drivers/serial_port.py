"""One serial line: the only place that knows pyserial and the three ways to lose a line."""

import errno
import select
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import serial

from afterfill.errors import DeviceUnavailable

from .hush import hush

LARGEST_CHUNK = 4096  # a kernel's tty buffer; no peer may make us hold more per receive
WRITE_TIMEOUT_S = 2.0  # a request is a few bytes; without a limit a stuck adapter blocks for ever
READ_TIMEOUT_S = 0.05  # only guards the read after poll() said that bytes are there

# Unplugging shows as SerialException (read, write), bare OSError (bytes waiting) or
# termios.error (flush, not an OSError): seen with pyserial 3.5 on Linux 6.
_LOST = (serial.SerialException, OSError, termios.error)


class SerialPort:
    """A line held by us alone: made -> `open` -> `send`, `receive`, `discard` -> `close`.

    Works on a device, on a by-id link and on a pseudo-terminal; modem lines are never touched.
    Every method but `close` raises DeviceUnavailable when the line is away.
    """

    remembers = False  # the kernel forgets what came before a line was opened
    holds = LARGEST_CHUNK - 1  # when so many wait unread, the kernel has thrown away the newest

    def __init__(self, device: str, *, baud: int, parity: str = "N", stopbits: float = 1) -> None:
        self._device = device
        self._baud = baud
        self._parity = parity
        self._stopbits = stopbits
        self._serial: serial.Serial | None = None

    def open(self) -> None:
        """Connect. DeviceUnavailable says: not there, not allowed, held by another, or refused."""
        self.close()
        try:
            self._serial = self._opened()
        except (*_LOST, ValueError) as error:
            raise DeviceUnavailable(f"port {self._device} {_how_to_mend(error)}") from error

    def _opened(self) -> serial.Serial:
        return serial.Serial(
            self._device,
            baudrate=self._baud,
            parity=self._parity,
            stopbits=self._stopbits,
            timeout=READ_TIMEOUT_S,
            write_timeout=WRITE_TIMEOUT_S,
            exclusive=True,
        )

    def send(self, data: bytes) -> None:
        """Write all of `data`."""
        with self._line() as line:
            line.write(data)

    def receive(self, until_s: float) -> bytes:
        """The bytes that came, as soon as there are any; empty at monotonic time `until_s`."""
        with self._line() as line:
            if not _readable(line.fileno(), until_s):
                return b""
            return bytes(line.read(min(line.in_waiting or 1, LARGEST_CHUNK)))

    def discard(self, quiet_s: float = 0.0) -> None:
        """Forget what came. With `quiet_s`, also what still comes, until the line is silent for so
        long [s] (at most four times so long): an answer owed to a question we gave up on."""
        with self._line() as line:
            line.reset_input_buffer()
        hush(self.receive, quiet_s)

    def close(self) -> None:
        """Let go. Safe after a failed open, and twice."""
        line, self._serial = self._serial, None
        if line is not None:
            with suppress(*_LOST):
                line.close()

    @contextmanager
    def _line(self) -> Iterator[serial.Serial]:
        if self._serial is None:
            raise DeviceUnavailable(f"port {self._device} is not open: open it first")
        try:
            yield self._serial
        except _LOST as error:
            raise DeviceUnavailable(
                f"port {self._device} was lost: plug the probe in again{_or_else(error)} ({error})"
            ) from error


def _readable(fileno: int, until_s: float) -> bool:
    poll = select.poll()
    poll.register(fileno, select.POLLIN)
    return bool(poll.poll(max(0.0, until_s - time.monotonic()) * 1000))


def _or_else(error: Exception) -> str:
    """Bytes were there and were gone: no cable does that, a second reader does."""
    return ", or stop the other program that reads it" if "multiple access" in str(error) else ""


def _how_to_mend(error: Exception) -> str:
    code = getattr(error, "errno", None)
    if code == errno.ENOENT:
        return "is not there: plug the probe in, or correct the port's path"
    if code == errno.EACCES:
        return "may not be opened: give the service's user the port's group (usually dialout)"
    if "lock" in str(error):
        return "is held by another program: stop it, two readers spoil each other's replies"
    return f"cannot be opened: check the adapter and the baud rate ({error})"
