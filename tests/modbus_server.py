"""A Modbus TCP server of another make (pymodbus) in a thread, for the driver to ask."""

import asyncio
import threading
from typing import Any, Self

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from servers import free_port, wait_until

HOST = "127.0.0.1"


class ModbusServer:
    """Devices 1, 7 and 255, each with `words` from register 0 on."""

    def __init__(self, words: list[int]) -> None:
        self.port = free_port()
        self.words = words
        self._loop: asyncio.AbstractEventLoop | None = None
        self._server: Any = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Listen, on the same port each time."""
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, args=(self._loop,))
        self._thread.start()
        wait_until(lambda: self._server is not None, "the Modbus server listens")

    def stop(self) -> None:
        """Close every connection."""
        if self._loop is None:
            return
        loop, self._loop = self._loop, None
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        self._thread.join()
        loop.close()
        self._server = None

    def _run(self, loop: asyncio.AbstractEventLoop) -> None:
        asyncio.set_event_loop(loop)
        loop.run_until_complete(self._listen())
        loop.run_forever()

    async def _listen(self) -> None:
        held = SimData(0, values=self.words, datatype=DataType.REGISTERS)
        devices = [SimDevice(number, [held]) for number in (1, 7, 255)]
        server = ModbusTcpServer(devices, address=(HOST, self.port))
        await server.serve_forever(background=True)
        self._server = server
