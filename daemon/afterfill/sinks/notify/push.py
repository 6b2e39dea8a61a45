"""Messages by the many services that the library apprise knows, each sent by a process of its own.

The library would stay in the service's memory for good (some 20 MB), and a service that drips its
answer byte by byte would outlast every time-out but the end of a process.
"""

import importlib.util
import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from afterfill.errors import SinkUnavailable
from afterfill.sinks.notify.message import Message
from afterfill.sinks.secret_file import secret_in

_PATIENCE_S = 40.0  # a small Pi loads the library in some seconds; its own time-outs are 4 s
_PROGRAM = [sys.executable, "-m", "afterfill.sinks.notify.push_once"]


class PushDelivery:
    """One address of the file."""

    def __init__(self, address: str, where: str) -> None:
        """Use `deliveries_in`. `where` tells the address without showing it."""
        self._address = address
        self._where = where

    @property
    def name(self) -> str:
        """The service's kind, and where the address stands: it holds secrets itself."""
        kind, form, _ = self._address.partition("://")
        return f"{kind if form else 'address'} ({self._where})"

    @property
    def address(self) -> str:
        """The whole URL. Never shown."""
        return self._address

    def examine(self) -> None:
        """Ask the library whether it understands the address. Raises SinkUnavailable."""
        self._ordered({"address": self._address})

    def send(self, message: Message) -> None:
        """See `Delivery.send`."""
        picture = None if message.picture is None else str(message.picture)
        self._ordered(
            {
                "address": self._address,
                "message": {
                    "subject": message.subject,
                    "text": message.text,
                    "urgent": message.urgent,
                    "picture": picture,
                },
            }
        )

    def _ordered(self, order: dict[str, object]) -> None:
        """The order goes in by a pipe: what stands on a command line is seen by every user."""
        try:
            done = subprocess.run(
                _PROGRAM,
                input=json.dumps(order),
                capture_output=True,
                text=True,
                timeout=_PATIENCE_S,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise SinkUnavailable(f"{self.name} took longer than {_PATIENCE_S:g} s") from error
        except OSError as error:
            raise SinkUnavailable(f"{self.name}: no process can be started ({error})") from error
        if done.returncode != 0:
            reason = done.stdout.strip() or f"the library failed, exit {done.returncode}"
            raise SinkUnavailable(f"{self.name} {reason}")


def deliveries_in(file: Path) -> Sequence[PushDelivery]:
    """One recipient for each address in `file`: a line each, `#` begins a comment.

    Raises SinkUnavailable when the file cannot be read or holds no address, or when apprise is not
    installed. Nothing is sent, and no address is tried.
    """
    deliveries = [
        PushDelivery(line, f"{file.name}, line {number}") for number, line in _addresses(file)
    ]
    if not deliveries:
        raise SinkUnavailable(f"{file} holds no address; write one into it, a line each")
    if importlib.util.find_spec("apprise") is None:
        raise SinkUnavailable(
            f"{file} needs apprise: install it with `pip install 'afterfill[notify]'`"
        )
    return deliveries


def _addresses(file: Path) -> Iterator[tuple[int, str]]:
    text = secret_in(file, advice="correct [[notify]] url_file")
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line.strip()
