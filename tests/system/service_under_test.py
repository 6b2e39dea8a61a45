"""The program itself, with a clock that runs fast or jumps and a disk that refuses on demand.

`python service_under_test.py OPTIONS run --config FILE`: OPTIONS are JSON, see `Options`. Nothing
of the service is replaced but its clock (through the port it has for one) and, below SQLite, the
system calls.
"""

import errno
import json
import sys
import threading
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from unittest.mock import patch

from afterfill.cli.main import main
from afterfill.records import Stamp
from afterfill.service import service
from system.failing_calls import WRITING, failing_calls


@dataclass(frozen=True, slots=True)
class Options:
    """The clock shows `wall_s` and `monotonic_s` when the machine's monotonic clock shows `real_s`
    (0: when the service begins), and runs `speed` times as fast. `jumps`: [monotonic s, by s] of
    the wall clock; it counts as synchronised from `synchronised_s` on. While the file `disk`
    exists, what it holds (the name of an errno, or `slow`) becomes of every write."""

    real_s: float
    wall_s: float
    disk: str
    speed: float = 1.0
    monotonic_s: float = 1000.0
    jumps: tuple[tuple[float, float], ...] = ()
    synchronised_s: float = 0.0
    boot_id: str = "boot"


class StandInClock:
    """A clock of the service, see Options."""

    def __init__(self, options: Options, stop: threading.Event) -> None:
        self._options, self._stop = options, stop
        self._real_s = options.real_s or time.monotonic()

    def monotonic_s(self) -> float:
        passed_s = (time.monotonic() - self._real_s) * self._options.speed
        return round(self._options.monotonic_s + passed_s, 6)

    def stamp(self) -> Stamp:
        options, now_s = self._options, self.monotonic_s()
        wall_s = options.wall_s + now_s - options.monotonic_s
        wall_s += sum(by_s for at_s, by_s in options.jumps if now_s >= at_s)
        known = now_s >= options.synchronised_s
        return Stamp(round(wall_s * 1000) / 1000, known, options.boot_id, now_s)

    def wait(self, seconds: float) -> None:
        self._stop.wait(max(seconds, 0.0) / self._options.speed)


def _refusal(disk: Path, call: str) -> int:
    if call not in WRITING or not disk.exists():
        return 0
    how = disk.read_text()
    if how == "slow":
        time.sleep(0.004)
    return int(getattr(errno, how, 0))


def run(options: Options) -> None:
    """The command line, with the stand-ins in place."""
    disk, clock = Path(options.disk), partial(StandInClock, options)
    with (
        patch.object(service, "SystemClock", clock),
        failing_calls(lambda call: _refusal(disk, call)),
    ):
        main()


if __name__ == "__main__":
    given = Options(**json.loads(sys.argv.pop(1)))
    run(given)
