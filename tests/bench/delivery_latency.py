"""How long a reading and an alarm take from the sensor to a subscriber of the broker.

A probe on a pseudo-terminal, the real service, a real mosquitto, and a database that accepts
connections and never answers. The probe's value counts its replies, so that each message tells
which reply it came from. Run it: `PYTHONPATH=tests python tests/bench/delivery_latency.py 500`
prints p50, p99 and the longest [s] of 500 readings. The journal commits each reading here
(`commit_every_s = 0`); with the default, readings come up to a minute later, alarms at once all the
same.
"""

import json
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from afterfill.records import Quantity
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from servers import Broker, wait_until

CONFIG = """
[tank.t]
litres = 100
[[probe]]
tank = "t"
quantity = "orp"
driver = "line"
port = "{folder}/orp"
every_s = 0.2
request = "R\\r"
terminator = "\\r\\n"
pattern = 'ORP=(?P<orp>-?[\\d.]+);PH=[\\d.]+;T=-?[\\d.]+'
[mqtt]
host = "127.0.0.1"
port = {broker}
[influxdb]
url = "http://127.0.0.1:{silent}"
[journal]
path = "j.db"
commit_every_s = {commit_s:g}
"""


@dataclass
class Counting:
    """A probe whose ORP is 100 mV and a tenth for each reply; remembers when it replied."""

    replied_s: dict[float, float] = field(default_factory=dict)

    def __call__(self) -> dict[Quantity, float]:
        value = round(100.0 + 0.1 * len(self.replied_s), 1)
        self.replied_s[value] = time.monotonic()
        return {"orp": value, "ph": 7.0, "temperature": 25.0}


@dataclass
class Arrivals:
    """When each value reached a subscriber."""

    seen_s: dict[float, float] = field(default_factory=dict)

    def on_message(self, _c: paho.Client, _u: object, message: paho.MQTTMessage) -> None:
        value = json.loads(message.payload)["value"]
        if value is not None:
            self.seen_s.setdefault(round(value, 1), time.monotonic())


@contextmanager
def silent_server() -> Iterator[int]:
    """A port that accepts connections and never says a word."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(64)
        yield int(server.getsockname()[1])


@contextmanager
def subscriber(port: int) -> Iterator[Arrivals]:
    arrivals = Arrivals()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_connect = lambda c, *_: c.subscribe("afterfill/t/reading/orp", qos=1)
    client.on_message = arrivals.on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        yield arrivals
    finally:
        client.disconnect()
        client.loop_stop()


@contextmanager
def service(folder: Path) -> Iterator[None]:
    command = [sys.executable, "-m", "afterfill.cli.main", "run", "--config"]
    process = subprocess.Popen(
        [*command, str(folder / "afterfill.toml")], stderr=subprocess.DEVNULL
    )
    try:
        yield
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(15)


@contextmanager
def room(folder: Path, commit_s: float) -> Iterator[tuple[Counting, Arrivals, int]]:
    """The whole chain, running: what the probe replied, what arrived, and the broker's port."""
    counting = Counting()
    with (
        Broker(folder / "broker") as broker,
        silent_server() as silent,
        subscriber(broker.port) as arrivals,
        PtyPort(LineDevice(counting), folder / "orp"),
    ):
        text = CONFIG.format(folder=folder, broker=broker.port, silent=silent, commit_s=commit_s)
        (folder / "afterfill.toml").write_text(text)
        with service(folder):
            yield counting, arrivals, broker.port


def delays_s(readings: int, folder: Path) -> list[float]:
    """Sensor to subscriber [s], sorted, of so many readings after the first."""
    with room(folder, commit_s=0.0) as (counting, arrivals, _):
        wait_until(lambda: arrivals.seen_s, "the first reading", 30)
        first = len(arrivals.seen_s)
        wait_until(lambda: len(arrivals.seen_s) >= first + readings, "the readings", 10 + readings)
    seen = list(arrivals.seen_s.items())[first : first + readings]
    return sorted(at_s - counting.replied_s[value] for value, at_s in seen)


def percentile(ordered: list[float], percent: float) -> float:
    """The smallest value that `percent` of the others do not exceed."""
    return ordered[min(len(ordered) - 1, int(len(ordered) * percent / 100))]


def main() -> None:
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as folder:
        ordered = delays_s(readings, Path(folder))
    print(f"sensor to subscriber, {readings} readings, the database silent:")
    print(f"p50 {percentile(ordered, 50):.3f} s, p99 {percentile(ordered, 99):.3f} s, "
          f"longest {ordered[-1]:.3f} s")  # fmt: skip


if __name__ == "__main__":
    main()
