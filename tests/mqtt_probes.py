"""Probes whose readings another device publishes, and that device."""

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from afterfill.config_file import parse
from afterfill.ports import ProbePort, Sample
from afterfill.service.driver_registry import open_port, ports_of
from mqtt_peers import Listener
from servers import Broker, wait_until

each_version = pytest.mark.parametrize("version", ["5", "3.1.1"])
TOPIC = "shelf/ph"


def table(quantity: str = "ph", topic: str = TOPIC, **keys: Any) -> str:
    given = {"tank": "t", "quantity": quantity, "driver": "mqtt", "port": "mqtt", "topic": topic}
    return "[[probe]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in (given | keys).items())


def port_on(number: int, *tables: str, version: str = "5", mqtt: str = "") -> ProbePort:
    text = f'[tank.t]\nlitres = 100\n[mqtt]\nhost = "127.0.0.1"\nport = {number}\n'
    text += f'version = "{version}"\n{mqtt}\n'
    (plan,) = ports_of(parse(text + "".join(tables or [table()]), "test.toml"))
    return open_port(plan)


def now(port: ProbePort, name: str = "t-ph") -> Sample | None:
    """What it gives at this moment."""
    return next(iter(port.read([name])), None)


def spoken(port: ProbePort, name: str = "t-ph") -> Sample:
    """Its next sample."""
    found: list[Sample] = []

    def has_spoken() -> bool:
        found.extend(port.read([name]))
        return bool(found)

    wait_until(has_spoken, "a sample")
    return found[0]


@contextmanager
def device(broker: Broker) -> Iterator[Listener]:
    with Listener(broker.port, "done/#") as it:
        yield it


def settled(port: ProbePort, it: Listener) -> None:
    """Until what was published before has been handed on to everyone: a further message of the
    same publisher has."""
    it.send("done/now", "x")
    wait_until(lambda: it.payloads("done/now"), "the broker's turn")
    it.heard.clear()
    time.sleep(0.1)


def subscribed(port: ProbePort, it: Listener, topic: str = TOPIC, name: str = "t-ph") -> None:
    """Until the probe hears its topic."""

    def heard() -> bool:
        it.send(topic, "7.77")
        time.sleep(0.05)
        return now(port, name) is not None

    wait_until(heard, "the subscription")
    settled(port, it)
    now(port, name)
