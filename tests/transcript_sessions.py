"""Recorded exchanges with probes: a folder with session.txt, probe.toml and expected.jsonl.

session.txt: `>` bytes sent to the probe, `<` bytes from it, hex with spaces, `#` a comment. Blank
lines part the readings. `<` before the first `>` of a reading is on the line already.
probe.toml: `driver` and [[probe]] tables (`name`, `quantity`, the driver's own keys).
expected.jsonl: one line a reading, a list of [probe, value, reason] in the order they were due.
"""

import fcntl
import json
import os
import struct
import termios
import time
import tomllib
from dataclasses import dataclass, field
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

from afterfill.ports import Driver, ProbePort, ProbeSpec

Step = tuple[str, bytes]


@dataclass
class ScriptedDevice:
    """Answers as the session says and keeps what it was sent."""

    steps: list[Step] = field(default_factory=list)
    sent: bytes = b""
    heard: list[bytes] = field(default_factory=list)

    def begin(self, steps: list[Step]) -> bytes:
        """Start on one reading; gives the bytes that are on the line before it."""
        self.steps, self.sent, self.heard = list(steps), b"", []
        return self._replies()

    def answer(self, received: bytes) -> bytes:
        """The session's replies once its next request is complete."""
        self.sent += received
        if not self.steps or self.sent != self.steps[0][1]:
            return b""
        self.heard.append(self.sent)
        self.sent = b""
        self.steps.pop(0)
        return self._replies()

    def _replies(self) -> bytes:
        replies = b""
        while self.steps and self.steps[0][0] == "<":
            replies += self.steps.pop(0)[1]
        return replies


def readings(session: Path) -> list[list[Step]]:
    """The steps of each reading of a session file."""
    blocks: list[list[Step]] = [[]]
    for line in session.read_text().splitlines():
        if not line.strip():
            blocks.append([])
        elif not line.startswith("#"):
            blocks[-1].append((line[0], bytes.fromhex(line[1:])))
    return [block for block in blocks if block]


def expected(folder: Path) -> list[list[tuple[str, float | None, str | None]]]:
    """What each reading must give."""
    lines = (folder / "expected.jsonl").read_text().splitlines()
    return [[tuple(sample) for sample in json.loads(line)] for line in lines]


def driver(name: str) -> Driver:
    """A driver as the service finds it."""
    (entry,) = entry_points(group="afterfill.drivers", name=name)
    found: Driver = entry.load()
    return found


def specs(name: str, tables: list[dict[str, Any]]) -> list[ProbeSpec]:
    """The probes of a probe.toml."""
    model = driver(name).settings
    return [
        ProbeSpec(table.pop("name"), table.pop("quantity"), model.model_validate(table))
        for table in tables
    ]


def port_of(folder: Path, device: str) -> ProbePort:
    """The closed port that a case folder describes; a plain bridge sets its line by itself."""
    text = tomllib.loads((folder / "probe.toml").read_text())
    if device.startswith("socket://"):
        text["probe"] = [{k: v for k, v in it.items() if k != "baud"} for it in text["probe"]]
    return driver(text["driver"]).port(device, specs(text["driver"], text["probe"]))


def wait_until_waiting(link: Path, count: int) -> None:
    """Until `count` bytes lie unread on the line; a pseudo-terminal takes a moment for it."""
    fileno = os.open(link, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        end_s = time.monotonic() + 5
        while _waiting(fileno) < count:
            assert time.monotonic() < end_s, f"{count} bytes never reached the line"
    finally:
        os.close(fileno)


def _waiting(fileno: int) -> int:
    (count,) = struct.unpack("i", fcntl.ioctl(fileno, termios.FIONREAD, b"\0" * 4))
    return int(count)
