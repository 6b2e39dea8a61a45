"""Two who listen: one at the broker, which hears what a hub hears, and one at the database.

Both note when the reading of each reply was first there for others, by the count in its ORP.
"""

import json
import threading
import time
import urllib.parse
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from bench.growth_lines import count_in
from servers import fetch

POLL_S = 1.0  # how often the database is asked
_BACK_S = 200.0  # how far it is asked back: more than a reading is under way
Seen = dict[str, list[tuple[int, float]]]  # by tank: count in the ORP, when it was there [s]


class Hub:
    """Hears all that a hub hears, and sends a word about one tank after the other."""

    def __init__(self, port: int) -> None:
        self.seen: Seen = defaultdict(list)
        self.answers_s: list[float] = []  # from a command to its answer [s]
        self.refused: list[str] = []
        self.messages = Counter[str]()  # by kind
        self.entities: set[str] = set()
        self._sent_s: dict[str, float] = {}
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self._client.on_connect = lambda client, *_: client.subscribe(
            [("afterfill/#", 1), ("homeassistant/#", 1)]
        )
        self._client.on_message = self._heard
        self._client.connect("127.0.0.1", port)

    def __enter__(self) -> "Hub":
        self._client.loop_start()
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def command(self, tank: str) -> None:
        """Leave a note with a tank."""
        self._sent_s[tank] = time.monotonic()
        self._client.publish(f"afterfill/{tank}/log/note", '{"text": "bench"}', qos=1)

    def pour(self, tank: str) -> None:
        """Announce a refill, which is watched from then on."""
        self._client.publish(f"afterfill/{tank}/log/refill", '{"litres": 25}', qos=1)

    def _heard(self, _c: paho.Client, _u: object, message: paho.MQTTMessage) -> None:
        now_s, levels = time.monotonic(), message.topic.split("/")
        if levels[0] == "homeassistant":
            self.messages["discovery"] += 1
            self.entities.add(message.topic)
            return
        self.messages[levels[2] if len(levels) > 2 else "status"] += 1
        if levels[2:] == ["reading", "orp"]:
            value = json.loads(message.payload)["value"]
            if value is not None:
                self.seen[levels[1]].append((count_in(value), now_s))
        elif levels[2:] == ["answer"]:
            self._answered(levels[1], json.loads(message.payload), now_s)

    def _answered(self, tank: str, answer: dict[str, object], now_s: float) -> None:
        if not answer["ok"]:
            self.refused.append(str(answer["error"]))
        elif tank in self._sent_s and answer["command"] == "log/note":
            self.answers_s.append(now_s - self._sent_s.pop(tank))


class Asker:
    """Asks the database each second for the newest ORP of some tanks."""

    def __init__(self, port: int, tanks: Sequence[str]) -> None:
        self.seen: Seen = defaultdict(list)
        self._known: set[tuple[str, int]] = set()
        self.tanks = tanks
        self._match = f'reading_value{{quantity="orp",tank=~"{"|".join(tanks)}"}}'
        self._port = port

    def ask(self) -> None:
        """Look what is there that was not there before."""
        asked = {"match[]": self._match, "start": f"{time.time() - _BACK_S:.0f}"}
        address = f"http://127.0.0.1:{self._port}/api/v1/export?{urllib.parse.urlencode(asked)}"
        lines, now_s = fetch(address).splitlines(), time.monotonic()
        for series in map(json.loads, lines):
            tank = series["metric"]["tank"]
            for at_ms, value in zip(series["timestamps"], series["values"], strict=True):
                if (tank, at_ms) not in self._known:
                    self._known.add((tank, at_ms))
                    self.seen[tank].append((count_in(value), now_s))

    @contextmanager
    def asking(self) -> Iterator[None]:
        """Ask in a thread, over and over."""
        stop = threading.Event()

        def body() -> None:
            while not stop.wait(POLL_S):
                self.ask()

        thread = threading.Thread(target=body)
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()
