"""Owns the connection to Modbus devices in the network: one question at a time, each numbered."""

import secrets
import time
from collections.abc import Sequence

from afterfill.ports import ProbeSpec
from afterfill_drivers.network.address import Address
from afterfill_drivers.network.socket_port import SocketPort

from .asking import AskingPort
from .frames import Answer, Question
from .tcp_frames import LONGEST, request, understand

_MOST_KEPT = 4 * LONGEST  # replies to questions given up may come before ours


class ModbusTcpPort(AskingPort):
    """Asks each due probe in turn: made -> open -> read -> close."""

    def __init__(self, address: Address, probes: Sequence[ProbeSpec]) -> None:
        super().__init__(probes)
        self._socket = SocketPort(address)
        # not from 0: a gateway may still owe an answer to one that was here before
        self._number = secrets.randbelow(1 << 16)

    def open(self) -> None:
        """Connect; see SocketPort."""
        self._socket.open()

    def close(self) -> None:
        """Let go of the connection."""
        self._socket.close()

    def _ask(self, question: Question, timeout_s: float) -> Answer:
        self._socket.discard()
        self._number = (self._number + 1) % (1 << 16)
        self._socket.send(request(self._number, question))
        end_s = time.monotonic() + timeout_s
        received = b""
        while True:
            data = self._socket.receive(end_s)
            received += data
            answer = understand(self._number, question, received)
            over = not data or time.monotonic() > end_s or len(received) > _MOST_KEPT
            if over or answer.invalid not in ("no-answer", "incomplete"):
                return answer
