"""Bridges between a network and a device, with what goes wrong on them: over real sockets."""

import fcntl
import os
import select
import socket
import struct
import termios
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

import serial
from serial.rfc2217 import PortManager

from afterfill.simulation.pty_port import Responder
from servers import Server, binary, free_port, wait_until

HOST = "127.0.0.1"


class Bridge:
    """Serves `device` to all that connect: made -> `plug` -> `unplug` -> `plug` ... -> `unplug`.

    With the scheme rfc2217 pyserial's own server part does the talking. `begins_with` is sent to
    each client as it comes. Answers go to all clients, as cheap bridges do it.
    """

    def __init__(
        self, device: Responder, scheme: str = "socket", *, begins_with: bytes = b"",
        host: str = HOST, baud: int | None = None,
    ) -> None:  # fmt: skip
        self._device, self._scheme, self._begins_with = device, scheme, begins_with
        self._host, self._port, self._baud = host, 0, baud
        self._clients: dict[socket.socket, PortManager | None] = {}
        self._thread: threading.Thread | None = None
        self.accepted = 0

    @property
    def address(self) -> str:
        """As a [[probe]] table writes it."""
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"{self._scheme}://{host}:{self._port}"

    def plug(self) -> Self:
        """Listen, and serve who comes; the same port each time."""
        family = socket.AF_INET6 if ":" in self._host else socket.AF_INET
        self._listener = socket.create_server((self._host, self._port), family=family)
        self._port = self._listener.getsockname()[1]
        self._wake_read, self._wake_write = os.pipe()
        self._thread = threading.Thread(target=self._serve, name="bridge")
        self._thread.start()
        return self

    def unplug(self) -> None:
        """Close everything, as a bridge that is started again."""
        thread, self._thread = self._thread, None
        if thread is None:
            return
        os.write(self._wake_write, b"x")
        thread.join()
        self.drop_clients()
        self._listener.close()
        os.close(self._wake_read)
        os.close(self._wake_write)

    def __enter__(self) -> Self:
        return self.plug()

    def __exit__(self, *_: object) -> None:
        self.unplug()

    def drop_clients(self, *, reset: bool = False) -> None:
        """End the connections that there are; `reset`: without a goodbye."""
        clients, self._clients = self._clients, {}
        for client in clients:
            if reset:
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            client.close()

    def send(self, data: bytes) -> None:
        """What the line says unasked, to all clients."""
        for client, manager in list(self._clients.items()):
            with suppress(OSError):
                client.sendall(data if manager is None else _escaped(manager, data))

    def wait_until_sent(self) -> None:
        """Until all that was sent has reached the other ends' kernels."""
        wait_until(lambda: self._clients, "a client")
        wait_until(lambda: sum(map(_unsent, list(self._clients))) == 0, "what was sent arrives")

    def _serve(self) -> None:
        while True:
            watched: list[Any] = [self._wake_read, self._listener, *self._clients]
            ready, _, _ = select.select(watched, [], [], 5)
            if self._wake_read in ready:
                return
            if self._listener in ready:
                self._accept()
            for client in [it for it in ready if it in self._clients]:
                self._take(client)

    def _accept(self) -> None:
        client, _ = self._listener.accept()
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.accepted += 1
        manager = None
        if self._scheme == "rfc2217":
            line: Any = _Line(self._baud)  # the stubs want a whole serial port
            writer: Any = _Writer(client)
            manager = PortManager(line, writer)
        client.sendall(self._begins_with)
        self._clients[client] = manager

    def _take(self, client: socket.socket) -> None:
        try:
            data = client.recv(4096)
        except OSError:
            data = b""
        if not data:
            self._clients.pop(client, None)
            client.close()
            return
        manager = self._clients[client]
        plain = data if manager is None else b"".join(manager.filter(data))
        if plain:
            self.send(self._device.answer(plain))


def _escaped(manager: PortManager, data: bytes) -> bytes:
    return b"".join(manager.escape(data))


def _unsent(client: socket.socket) -> int:
    (count,) = struct.unpack("i", fcntl.ioctl(client, termios.TIOCOUTQ, b"\0" * 4))
    return int(count)


class _Writer:
    def __init__(self, client: socket.socket) -> None:
        self._client = client

    def write(self, data: bytes) -> None:
        with suppress(OSError):
            self._client.sendall(data)


class _Line:
    """The serial line that pyserial's server sets; with `fixed`, one that keeps its speed."""

    cts = dsr = cd = True
    ri = False

    def __init__(self, fixed: int | None) -> None:
        self._fixed, self._baud = fixed, fixed or 1200
        self.bytesize, self.parity, self.stopbits = 8, serial.PARITY_NONE, 1
        self.rtscts = self.xonxoff = self.dtr = self.rts = self.break_condition = False

    @property
    def baudrate(self) -> int:
        return self._baud

    @baudrate.setter
    def baudrate(self, baud: int) -> None:
        self._baud = self._fixed or baud

    def __getattr__(self, name: str) -> Any:
        if name.startswith("reset_"):
            return lambda: None
        raise AttributeError(name)


class Ser2net(Server):
    """ser2net, a bridge in wide use: `scheme` socket or rfc2217, onto the serial port `line`."""

    def __init__(self, folder: Path, scheme: str, line: Path) -> None:
        super().__init__(folder, free_port())
        accepter = "telnet(rfc2217)" if scheme == "rfc2217" else ""
        accepter += f"{',' if accepter else ''}tcp,{HOST},{self.port}"
        (folder / "ser2net.yaml").write_text(
            f"connection: &probe\n  accepter: {accepter}\n"
            f"  connector: serialdev,{line},9600n81,local\n"
            "  options:\n    kickolduser: false\n"
        )
        self.address = f"{scheme}://{HOST}:{self.port}"

    def command(self) -> list[str]:
        return [binary("ser2net"), "-n", "-c", str(self.folder / "ser2net.yaml")]
