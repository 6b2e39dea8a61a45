"""What a bad cable, a cheap converter or a tired probe does to a reply; seeded."""

import random
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from afterfill.simulation.pty_port import Responder

FaultKind = Literal["drop", "garbage", "half", "delay", "echo", "checksum"]
FAULT_KINDS: tuple[FaultKind, ...] = ("drop", "garbage", "half", "delay", "echo", "checksum")


@dataclass
class Faults:
    """Spoils a share `rate` (0 to 1) of the replies, the same ones for the same `seed`."""

    rate: float
    seed: int = 0
    kinds: Sequence[FaultKind] = FAULT_KINDS
    delay_s: float = 0.2
    counts: dict[FaultKind, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)

    def spoil(self, request: bytes, reply: bytes) -> bytes:
        """The reply as it reaches the other end; a late one takes its time."""
        if not reply or self._random.random() >= self.rate:
            return reply
        kind = self._random.choice(list(self.kinds))
        self.counts[kind] = self.counts.get(kind, 0) + 1
        if kind == "delay":
            time.sleep(self.delay_s)
        return self._spoilt(kind, request, reply)

    def _spoilt(self, kind: FaultKind, request: bytes, reply: bytes) -> bytes:
        match kind:
            case "drop":
                return b""
            case "garbage":  # bit 7 set: noise that no text protocol could mean
                return bytes(self._random.randrange(128, 256) for _ in reply)
            case "half":
                return reply[: len(reply) // 2]
            case "echo":  # the request came back in the reply's place
                return request
            case "checksum":
                return reply[:-1] + bytes([reply[-1] ^ 0x55])
            case "delay":
                return reply


@dataclass
class FaultyDevice:
    """A device behind a line with faults."""

    device: Responder
    faults: Faults

    def answer(self, received: bytes) -> bytes:
        """The device's reply, as it arrives."""
        return self.faults.spoil(received, self.device.answer(received))
