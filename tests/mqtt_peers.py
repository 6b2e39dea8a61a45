"""The MQTT sink set up for a test, and other clients of its broker."""

import queue
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields, replace

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import Record
from afterfill.sinks.mqtt.ids import client_id
from afterfill.sinks.mqtt.sink import MqttSink
from sample_records import START_S, now, running
from servers import wait_until


def lately(record: Record) -> Record:
    """The same record, moved from the sample's day to the last minutes: nothing of it is stale."""
    late_s = round(now().time_s) - 100 - START_S
    times = {f.name: getattr(record, f.name) for f in fields(record) if f.name.endswith("_s")}
    moved = {name: at_s + late_s for name, at_s in times.items() if at_s and at_s > START_S / 2}
    return replace(record, **moved)


def config_for(port: int, **mqtt: object) -> Config:
    probe = {"tank": "window", "driver": "line", "port": "/dev/null"}
    return Config.model_validate(
        {
            "tank": {"window": {"litres": 200}},
            "source": {"tap": {}, "well": {}},
            "neutraliser": {"n": {"mg_cl2_per_ml": 40}},
            "probe": [{**probe, "quantity": quantity} for quantity in ("orp", "ph")],
            "mqtt": {"host": "127.0.0.1", "port": port, **mqtt},
        }
    )


def of_tank(config: Config, tank: str) -> Config:
    """The same configuration for another tank."""
    probes = tuple(probe.model_copy(update={"tank": tank}) for probe in config.probe)
    return config.model_copy(update={"tank": {tank: config.tank["window"]}, "probe": probes})


def sink_to(journal: Journal, port: int, **mqtt: object) -> MqttSink:
    return MqttSink(journal.path, config_for(port, **mqtt), now)


def service_of(journal: Journal) -> str:
    """The client id of a service that has this journal."""
    return client_id(None, journal.meta("journal"))


class Listener:
    """Another client of the broker: hears everything below its filters."""

    def __init__(
        self,
        port: int,
        *filters: str,
        version: MQTTProtocolVersion = MQTTProtocolVersion.MQTTv5,
        login: tuple[str, str] | None = None,
    ) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self._ready: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=version)
        self._client.on_connect = lambda client, *_: client.subscribe([(f, 1) for f in filters])
        self._client.on_subscribe = lambda *_: self._ready.put(True)
        self._client.on_message = lambda _c, _u, m: self.heard.append(
            (m.topic, bytes(m.payload), m.retain)
        )
        if login is not None:
            self._client.username_pw_set(*login)
        self._client.connect("127.0.0.1", port)

    def __enter__(self) -> "Listener":
        self._client.loop_start()
        self._ready.get(timeout=10)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def send(self, topic: str, payload: str | bytes, *, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)

    def payloads(self, topic: str) -> list[bytes]:
        return [payload for name, payload, _ in self.heard if name == topic]

    def wait_for(self, topic: str, holds: Callable[[bytes], object] = lambda _p: True) -> bytes:
        """The first payload on `topic` for which `holds` is true."""
        wait_until(lambda: any(map(holds, self.payloads(topic))), f"{topic} in {self.heard}")
        return next(p for p in self.payloads(topic) if holds(p))


def retained(port: int, topic_filter: str) -> dict[str, bytes]:
    """What the broker keeps below a filter."""
    with Listener(port, topic_filter, "done/now") as listener:
        listener.send("done/now", "")
        listener.wait_for("done/now")
        return {topic: payload for topic, payload, kept in listener.heard if kept}


def retained_with(port: int, topic_filter: str, user: str, password: str) -> dict[str, bytes]:
    """The same as a user with a password."""
    with Listener(port, topic_filter, "done/now", login=(user, password)) as listener:
        listener.send("done/now", "")
        listener.wait_for("done/now")
        return {topic: payload for topic, payload, kept in listener.heard if kept}


def wait_for_online(listener: Listener) -> None:
    listener.wait_for("afterfill/status", lambda p: p == b"online")


@contextmanager
def obeying(journal: Journal, port: int, **mqtt: object) -> Iterator[Listener]:
    """A running sink and a listener that hears its answers."""
    with (
        Listener(port, "afterfill/#") as listener,
        running(sink := sink_to(journal, port, **mqtt)),
    ):
        wait_until(lambda: sink.health().up, "the sink is connected")
        yield listener
