"""A line between two programs of this machine that can be cut and mended."""

import asyncio
import threading
from contextlib import suppress
from typing import Self

from servers import free_port


class CutLine:
    """Hands on all bytes between who connects to `port` and the program at `target`, in a thread
    of its own: made -> `mend` -> `cut` -> `mend` ... -> `cut`. Also a context manager."""

    def __init__(self, target: int) -> None:
        self.port, self._target = free_port(), target
        self._thread: threading.Thread | None = None

    def mend(self) -> None:
        """Listen and hand on."""
        self._loop = asyncio.new_event_loop()
        begun = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(begun,))
        self._thread.start()
        begun.wait(10)

    def cut(self) -> None:
        """Drop every connection, and take none. Safe twice."""
        thread, self._thread = self._thread, None
        if thread is not None:
            self._loop.call_soon_threadsafe(self._server.cancel)
            thread.join()

    def __enter__(self) -> Self:
        self.mend()
        return self

    def __exit__(self, *_: object) -> None:
        self.cut()

    def _run(self, begun: threading.Event) -> None:
        with asyncio.Runner(loop_factory=lambda: self._loop) as runner:  # ends what is under way
            runner.run(self._serve(begun))

    async def _serve(self, begun: threading.Event) -> None:
        async with await asyncio.start_server(self._connected, "127.0.0.1", self.port) as server:
            self._server = asyncio.ensure_future(server.serve_forever())
            self._loop.call_soon(begun.set)
            with suppress(asyncio.CancelledError):
                await self._server

    async def _connected(self, near: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            far, out = await asyncio.open_connection("127.0.0.1", self._target)
            try:
                await asyncio.gather(self._handed_on(near, out), self._handed_on(far, back))
            finally:
                out.close()
        back.close()

    async def _handed_on(self, source: asyncio.StreamReader, to: asyncio.StreamWriter) -> None:
        try:
            while data := await source.read(65_536):
                to.write(data)
                await to.drain()
        finally:
            to.close()
