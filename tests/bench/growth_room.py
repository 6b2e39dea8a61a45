"""Many tanks in several real services, on one mosquitto and one victoria-metrics; made and ended.

Services, broker, database and probe heads are processes of their own, so that each is counted for
itself.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from bench.many_tanks import configuration, service
from manager_socket import ManagerSocket
from servers import Broker, Victoria

LINES = Path(__file__).with_name("growth_lines.py")
_READY_WITHIN_S = 120.0


@dataclass(frozen=True, slots=True)
class Plan:
    """How much there is: `tanks` in so many `services`, read each `every_s` [s], committed each
    `commit_every_s`, written to the database each `write_every_s`: by default as the program."""

    tanks: int
    services: int
    every_s: float = 10.0
    commit_every_s: float = 60.0
    write_every_s: float = 10.0

    @property
    def names(self) -> list[str]:
        """Of all tanks."""
        return [f"t{number}" for number in range(self.tanks)]


class Heads:
    """The process that plays all probe heads."""

    def __init__(self, folder: Path, tanks: int) -> None:
        command = [sys.executable, str(LINES), str(folder), str(tanks)]
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True)
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "plugged\n"

    def replied_s(self) -> dict[str, list[float]]:
        """End them; when each replied [s, monotonic]."""
        said, _ = self._process.communicate(timeout=60)
        return {f"t{number}": times for number, times in enumerate(json.loads(said))}

    def end(self) -> None:
        """Whatever happened before. Safe twice."""
        if self._process.poll() is None:
            self._process.communicate(timeout=60)


@dataclass(frozen=True, slots=True)
class Room:
    """What runs. Processes by their ids; `ready_s`: until the last service was ready [s]."""

    services: list[int]
    broker: Broker
    database: Victoria
    heads: Heads
    ready_s: float

    @property
    def processes(self) -> dict[str, list[int]]:
        """By what they are."""
        return {
            "services": self.services,
            "broker": [self.broker.pid],
            "database": [self.database.pid],
        }


@contextmanager
def room(plan: Plan, broker: Broker, database: Victoria, folder: Path) -> Iterator[Room]:
    """Start the heads and all services at once; ends them. Broker and database run already."""
    heads = Heads(folder, plan.tanks)
    try:
        with ExitStack() as stack:
            began_s = time.monotonic()
            services = _all_ready(plan, broker, database, folder, stack)
            ready_s = time.monotonic() - began_s
            yield Room([process.pid for process in services], broker, database, heads, ready_s)
            for process in services:  # all together: each takes a while
                process.terminate()
    finally:
        heads.end()


def _all_ready(
    plan: Plan, broker: Broker, database: Victoria, folder: Path, stack: ExitStack
) -> list[subprocess.Popen[bytes]]:
    started = []
    with ExitStack() as managers:  # until all are ready: what a service says later is not read
        for number in range(plan.services):
            tanks = plan.names[number :: plan.services]
            text = configuration(
                tanks, folder, broker=broker.port, database=database.port, every_s=plan.every_s,
                write_every_s=plan.write_every_s, commit_every_s=plan.commit_every_s,
            )  # fmt: skip
            place = folder / f"s{number}"
            place.mkdir()
            manager = managers.enter_context(ManagerSocket.in_folder(place))
            process = stack.enter_context(service(place, text, manager.name))
            started.append((process, manager))
        for process, manager in started:
            _await_ready(process, manager)
    return [process for process, _ in started]


def _await_ready(process: subprocess.Popen[bytes], manager: ManagerSocket) -> None:
    end_s = time.monotonic() + _READY_WITHIN_S
    while not manager.listen("READY", 1.0):
        assert process.poll() is None, "a service has ended; try its configuration by hand"
        assert time.monotonic() < end_s, "a service does not get ready"
