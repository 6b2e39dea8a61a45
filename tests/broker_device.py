"""A wireless device that publishes what a virtual tank's probes show, at a pace of its own."""

import json
import threading
from collections.abc import Callable, Mapping
from typing import Self

from afterfill.records import Quantity
from mqtt_peers import Listener


class BrokerDevice:
    """Publishes `{"orp", "ph", "temperature"}` on `topic` each `every_s` [s] while it is on."""

    def __init__(
        self, port: int, topic: str, measure: Callable[[], Mapping[Quantity, float]], every_s: float
    ) -> None:
        self._peer = Listener(port, "none/of/it")
        self._topic, self._measure, self._every_s = topic, measure, every_s
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._publish)

    def __enter__(self) -> Self:
        self._peer.__enter__()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()
        self._peer.__exit__()

    def _publish(self) -> None:
        while not self._over.wait(self._every_s):
            self._peer.send(self._topic, json.dumps(dict(self._measure())))
