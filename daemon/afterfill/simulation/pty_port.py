"""A serial port without hardware: a pseudo-terminal behind a stable link, a device on it."""

import os
import select
import threading
import tty
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Protocol, Self


class Responder(Protocol):
    """A device that speaks when asked."""

    def answer(self, received: bytes) -> bytes:
        """The reply to the bytes that just came; empty while a request is unfinished."""


class PtyPort:
    """Serves `device` on the path `link`: made -> `plug` -> `unplug` -> `plug` ... -> `unplug`.

    Also a context manager. With `stream`, its bytes are sent every `every_s` seconds besides.
    """

    def __init__(
        self,
        device: Responder,
        link: Path,
        *,
        stream: Callable[[], bytes] | None = None,
        every_s: float = 1.0,
    ) -> None:
        self.link = link
        self._device = device
        self._stream = stream
        self._every_ms = every_s * 1000 if stream else None
        self._thread: threading.Thread | None = None
        self._master = self._slave = self._wake_read = self._wake_write = -1

    def plug(self) -> Self:
        """Make the pseudo-terminal, point the link at it and serve. Safe twice."""
        if self._thread is not None:
            return self
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._wake_read, self._wake_write = os.pipe()
        self._point_link(os.ttyname(self._slave))
        self._thread = threading.Thread(target=self._serve, name=f"pty {self.link.name}")
        self._thread.start()
        return self

    def unplug(self) -> None:
        """Pull the cable: the link goes, and a program that holds the port sees it hang up."""
        thread, self._thread = self._thread, None
        if thread is None:
            return
        os.write(self._wake_write, b"x")
        thread.join()
        self.link.unlink(missing_ok=True)
        for fileno in (self._master, self._slave, self._wake_read, self._wake_write):
            os.close(fileno)

    def send(self, data: bytes) -> None:
        """Put bytes on the line unasked. What does not fit is lost, as on a real line."""
        if data and self._thread is not None:
            with suppress(BlockingIOError):
                os.write(self._master, data)

    def __enter__(self) -> Self:
        return self.plug()

    def __exit__(self, *_: object) -> None:
        self.unplug()

    def _point_link(self, target: str) -> None:
        fresh = self.link.with_name(f"{self.link.name}.new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(target)
        fresh.replace(self.link)

    def _serve(self) -> None:
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        poll.register(self._wake_read, select.POLLIN)
        while True:
            ready = {fileno for fileno, _ in poll.poll(self._every_ms)}
            if self._wake_read in ready:
                return
            if self._master in ready:
                self.send(self._device.answer(os.read(self._master, 4096)))
            elif self._stream is not None:
                self.send(self._stream())
