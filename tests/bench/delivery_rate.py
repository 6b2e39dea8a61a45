"""How fast the sinks deliver, beside the raw clients, in one run on the same machine.

A journal with a backlog (a day or so that a database or a broker was away for). The same points in
batches of the same size through the database's own client, which makes them from figures in memory
(for comparison also as lines made before the clock ran), and through the sink. The same messages
through the raw MQTT client, each confirmed (QoS 1), and through the sink while records come. Real
victoria-metrics, real mosquitto. `PYTHONPATH=tests python tests/bench/delivery_rate.py 20000`
prints points and messages a second, the middle of three rounds, and the shares; bar: 0.9 of the raw
client.
"""

import queue
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write.point import Point
from influxdb_client.client.write_api import SYNCHRONOUS
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from afterfill.config import Influxdb
from afterfill.journal.store import Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import Estimate, Reading, Record
from afterfill.sinks.influx.points import line_of
from afterfill.sinks.influx.sink import InfluxSink
from afterfill.sinks.mqtt.messages import record_message
from afterfill.sinks.mqtt.sink import MqttSink
from mqtt_peers import Listener, config_for
from sample_records import START_S, estimate, now, orp, running, store
from servers import Broker, Victoria, wait_until

BAR = 0.9
ROUNDS = 3
WINDOW = 100  # messages under way in the raw client, as in the sink


@dataclass(frozen=True)
class Rate:
    """So many a second, raw and by the sink."""

    what: str
    raw: float
    sink: float
    has_bar: bool = False

    @property
    def share(self) -> float:
        return self.sink / self.raw

    def row(self) -> str:
        mark = "met" if self.share >= BAR else "below"
        bar = f" (bar {BAR:g}: {mark})" if self.has_bar else ""
        rates = f"raw {self.raw:8.0f}/s  sink {self.sink:8.0f}/s"
        return f"{self.what:32s} {rates}  share {self.share:.2f}{bar}"


def filled(folder: Path, count: int) -> Journal:
    """A journal of so many records, two readings for each estimate, as a tank gives them."""
    journal = Journal.open(folder / "journal.db")
    for first in range(0, count, 3000):
        store(journal, *(
            estimate(START_S + n) if n % 3 == 2 else orp(n)
            for n in range(first, min(first + 3000, count))
        ))  # fmt: skip
    return journal


def back_filled(count: int, folder: Path) -> list[Rate]:
    """Points a second of a backlog."""
    journal = filled(folder, count)
    entries = journal.entries(limit=count)
    records = [entry.record for entry in entries]
    points = [line for entry in entries if (line := line_of(entry, "pi")) is not None]
    rounds = range(ROUNDS)
    with Victoria(folder / "engine") as engine:
        settings = Influxdb(url=f"http://127.0.0.1:{engine.port}")
        made = [_timed(lambda: _written(settings, _made(records)), len(points)) for _ in rounds]
        lines_s = [_timed(lambda: _written(settings, points), len(points)) for _ in rounds]
        sink = [_filled_in(journal, settings, len(points)) for _ in rounds]
    return [
        Rate("back-fill, points", statistics.median(made), statistics.median(sink), True),
        Rate("back-fill, lines made before", statistics.median(lines_s), statistics.median(sink)),
    ]


def _made(records: Sequence[Record]) -> Iterator[Point]:
    """As a program without a journal would: each point by the client's own means."""
    for record in records:
        time_ns = round(record.time_s * 1000) * 1_000_000
        point: Any = Point(KIND_OF[type(record)])  # type: ignore[no-untyped-call]  # its own gap
        if isinstance(record, Reading):
            point.tag("quantity", record.quantity).tag("probe", record.probe)
            point.field("value", record.value).field("valid", record.value is not None)
        else:
            assert isinstance(record, Estimate)
            point.field("p_over_limit", record.p_over_limit).field("sees", record.sees)
            for name in ("residual", "free_chlorine", "combined_chlorine", "total_ammonia"):
                for which in ("q05", "q50", "q95"):
                    value = getattr(getattr(record, f"{name}_mg_l"), which)
                    point.field(f"{name}_{which}_mg_l", value)
        yield (
            point.field("why_blind", getattr(record, "why_blind", None))
            .tag("tank", record.tank)
            .tag("host", "pi")
            .time(time_ns)
        )


def batched(items: Iterable[str | Point], size: int) -> Iterator[list[str | Point]]:
    """Lists of so many."""
    left = iter(items)
    while batch := list(islice(left, size)):
        yield batch


def _timed(work: Callable[[], object], count: int) -> float:
    begin_s = time.perf_counter()
    work()
    return count / (time.perf_counter() - begin_s)


def _written(settings: Influxdb, points: Iterable[str | Point]) -> None:
    with InfluxDBClient(url=settings.url, token="", org="", enable_gzip=True) as client:
        api = client.write_api(write_options=SYNCHRONOUS)
        for batch in batched(points, settings.batch):
            api.write(settings.bucket, settings.org, batch)


def _filled_in(journal: Journal, settings: Influxdb, count: int) -> float:
    last = journal.last_seq()
    with journal._db:
        journal._db.execute("DELETE FROM cursor")
        journal._db.execute("DELETE FROM meta WHERE key LIKE 'influxdb%'")
    sink = InfluxSink(journal.path, settings, now, "pi")

    def done() -> bool:
        return hasattr(sink, "_done") and sink._done.gap(last)[0] >= last

    begin_s = time.perf_counter()
    with running(sink):
        wait_until(done, "all is filled in", 600.0)
        return count / (time.perf_counter() - begin_s)


def published(count: int, folder: Path) -> list[Rate]:
    """Messages a second of records that come all at once."""
    with Broker(folder / "broker") as broker:
        raw = [_raw_messages(broker.port, count) for _ in range(ROUNDS)]
        sink = [_sink_messages(broker.port, folder / f"{n}", count) for n in range(ROUNDS)]
    return [Rate("messages, confirmed", statistics.median(raw), statistics.median(sink))]


def _raw_messages(port: int, count: int) -> float:
    """With the client's own thread, `WINDOW` under way."""
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    room, ready = threading.Semaphore(WINDOW), queue.SimpleQueue[bool]()
    client.on_publish = lambda *_: room.release()
    client.on_connect = lambda *_: ready.put(True)
    client.connect("127.0.0.1", port)
    client.loop_start()
    ready.get(timeout=10)
    records = (estimate(START_S + n) if n % 3 == 2 else orp(n) for n in range(count))
    messages = [m for r in records if (m := record_message("raw", r)) is not None]
    begin_s = time.perf_counter()
    for message in messages:
        room.acquire()
        client.publish(message.topic, message.payload, qos=1, retain=True)
    for _ in range(WINDOW):
        room.acquire()
    took_s = time.perf_counter() - begin_s
    client.disconnect()
    client.loop_stop()
    return count / took_s


def _sink_messages(port: int, folder: Path, count: int) -> float:
    folder.mkdir()
    with (
        Journal.open(folder / "journal.db") as journal,
        Listener(port, "afterfill/#") as listener,
        running(MqttSink(journal.path, config_for(port), now)),
    ):
        listener.wait_for("afterfill/status", lambda payload: payload == b"online")
        time.sleep(3.0)  # entities are told, and the sink is at rest
        before = len(listener.heard)
        store(journal, *(
            estimate(START_S + n) if n % 3 == 2 else orp(n) for n in range(count)
        ))  # fmt: skip
        begin_s = time.perf_counter()
        wait_until(lambda: len(listener.heard) - before >= count, "all are heard", 600.0)
        return count / (time.perf_counter() - begin_s)


def main() -> None:
    """See the module."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    with tempfile.TemporaryDirectory() as folder:
        for made in (back_filled, published):
            inner = Path(folder) / made.__name__
            inner.mkdir()
            for rate in made(count, inner):
                print(rate.row(), flush=True)


if __name__ == "__main__":
    main()
