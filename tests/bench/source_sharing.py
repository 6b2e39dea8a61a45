"""How long it takes until all tanks of a house know what a test of the tap has shown at one.

Real services, each with a part of the tanks, on one real mosquitto; `afterfill log source-test` at
one tank of the first. Run it: `PYTHONPATH=tests python tests/bench/source_sharing.py 200 8`: so
many tanks in so many services. A row for each service: until the last of its tanks had it [s].
"""

import math
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.records import SourceLearnt
from mqtt_peers import retained
from servers import Broker, wait_until

_AFTERFILL = (sys.executable, "-m", "afterfill.cli.main")
_TAP = """
[source.tap]
disinfectant = "chloramine"
residual_mg_l = 1.0
[mqtt]
host = "127.0.0.1"
port = {broker}
[journal]
path = "journal.db"
"""
_DEADLINE_S = 60.0
_STARTED_S = 30.0  # each has told the hub of all its entities by then


class House:
    """One service with some tanks, in a folder of its own."""

    def __init__(self, folder: Path, broker: int, tanks: Sequence[str]) -> None:
        folder.mkdir()
        self.folder, self.tanks = folder, tanks
        self.config = folder / "afterfill.toml"
        tables = "".join(f"[tank.{name}]\nlitres = 100\n" for name in tanks)
        self.config.write_text(tables + _TAP.format(broker=broker))

    @contextmanager
    def running(self) -> Iterator[None]:
        """The service as its user runs it, once it has said that it is there."""
        log = (self.folder / "log.txt").open("w")
        command = [*_AFTERFILL, "run", "--config", str(self.config)]
        with log, subprocess.Popen(command, stdout=log, stderr=log, cwd=self.folder) as process:
            try:
                yield
            finally:
                process.send_signal(signal.SIGTERM)
                process.wait(30)

    def told(self, mg_l: float) -> list[SourceLearnt]:
        """What each tank has learnt of the tap, as far as it is near `mg_l` [mg/L]."""
        with Journal.open(self.folder / "journal.db", read_only=True) as journal:
            newest = [journal.latest("source-learnt", tank) for tank in self.tanks]
        found = [entries[0].record for entries in newest if entries]
        return [
            it
            for it in found
            if isinstance(it, SourceLearnt) and abs(it.log_mean - math.log(mg_l)) < 0.2
        ]


def shared(tanks: int, services: int, folder: Path, started_s: float = _STARTED_S) -> list[float]:
    """Seconds until all tanks of each service knew of a test of the first one's tap, which showed
    twice what was configured; `started_s`: how long they run before. Raises AssertionError when one
    does not hear of it."""
    names = [f"t{number}" for number in range(tanks)]
    with ExitStack() as stack:
        broker = stack.enter_context(Broker(folder / "broker"))
        houses = [
            House(folder / f"service-{n}", broker.port, names[n::services]) for n in range(services)
        ]
        for house in houses:
            stack.enter_context(house.running())
        wait_until(lambda: _there(broker.port) == services, "all are there", _DEADLINE_S)
        time.sleep(started_s)
        command = [*_AFTERFILL, "log", "source-test", "--config", str(houses[0].config)]
        subprocess.run(
            [*command, "--tank", houses[0].tanks[0], "--total-chlorine", "2.0"],
            check=True, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        return _waited_for(houses, time.monotonic())


def _there(port: int) -> int:
    """How many services say on the broker that they are there."""
    return list(retained(port, "afterfill/service/+/status").values()).count(b"online")


def _waited_for(houses: Sequence[House], from_s: float) -> list[float]:
    took_s: dict[int, float] = {}

    def all_know() -> bool:
        for number, house in enumerate(houses):
            if number not in took_s and len(house.told(2.0)) == len(house.tanks):
                took_s[number] = time.monotonic() - from_s
        return len(took_s) == len(houses)

    wait_until(all_know, "all have heard", _DEADLINE_S)
    return [took_s[number] for number in range(len(houses))]


def main() -> None:
    """See the module."""
    tanks, services = (int(text) for text in (sys.argv[1:] or ["200", "8"]))
    with tempfile.TemporaryDirectory() as folder:
        took_s = shared(tanks, services, Path(folder))
    for number, seconds in enumerate(took_s):
        print(f"service {number}: {len(range(number, tanks, services))} tanks, {seconds:.2f} s")
    print(f"all {tanks} tanks: {max(took_s):.2f} s after the command had ended")


if __name__ == "__main__":
    main()
