"""What other devices publish on the broker of [mqtt], for probes that are read there."""

import secrets
import time
from collections.abc import Sequence
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.subscribeoptions import SubscribeOptions

from afterfill.config import Mqtt
from afterfill.errors import DeviceUnavailable, SinkUnavailable
from afterfill.ports import Heard
from afterfill.sinks.mqtt.connection import Connected, Connection, Failed

_OPEN_WITHIN_S = 4.0  # a broker is given up after 3
_CALLBACKS = (
    "on_connect", "on_connect_fail", "on_disconnect", "on_publish", "on_message", "on_subscribe"
)  # fmt: skip
_MOST_BYTES = 16_385  # one too many tells that a message was cut


class _Newest(Connection):
    """Keeps the newest message of each topic and counts them: a flood costs no memory."""

    def __init__(self, settings: Mqtt) -> None:
        # a name of its own each time: a broker ends the older of two sessions that share one
        super().__init__(settings, f"afterfill-p{secrets.token_hex(5)}")
        self.heard: dict[str, Heard] = {}
        self._is_5 = settings.version == "5"
        self._client.on_subscribe = self._guarded(self._on_subscribe)

    def subscribe(self, filters: list[str]) -> None:
        """QoS 0: a reading that was lost is better than one that comes late, or twice."""
        if self._is_5:  # the broker marks what it kept; what is new it does not
            options = SubscribeOptions(qos=0, retainAsPublished=False)
            self._client.subscribe([(topic, options) for topic in filters])
        else:
            self._client.subscribe([(topic, 0) for topic in filters])

    def stop(self) -> None:
        """Leave. The client holds two descriptors until it is forgotten, and its callbacks hold us
        and so itself: without them it need not wait for the garbage collector."""
        super().stop()
        for callback in _CALLBACKS:
            setattr(self._client, callback, None)

    def _on_subscribe(self, _c: Any, _u: Any, _mid: int, reasons: Any, _p: Any) -> None:  # noqa: ANN401 - the client names no types
        for reason in reasons:
            if reason.is_failure:
                sentence = f"{self._where} does not let us read a topic ({reason})"
                self._happenings.put(Failed(sentence))

    def _on_message(self, _c: Any, _u: Any, message: paho.MQTTMessage) -> None:  # noqa: ANN401 - the client names no types
        known = self.heard.get(message.topic)
        number = 1 if known is None else known.number + 1
        payload = bytes(message.payload[:_MOST_BYTES])
        self.heard[message.topic] = Heard(payload, number, time.monotonic(), message.retain)


class BrokerFeed:
    """Made -> `open` -> `newest` ... -> `close`, by one thread; see `ports.Feed`."""

    def __init__(self, settings: Mqtt) -> None:
        self._settings = settings
        self._connection: _Newest | None = None

    def open(self, topics: Sequence[str]) -> None:
        """Connect and subscribe."""
        self.close()
        try:
            connection = self._connection = _Newest(self._settings)
        except SinkUnavailable as error:
            raise DeviceUnavailable(f"port mqtt cannot be used: {error}") from error
        connection.start()
        try:
            self._await(connection)
        except DeviceUnavailable:
            self.close()
            raise
        connection.subscribe(list(topics))

    def newest(self, topic: str) -> Heard | None:
        """The newest message on a topic."""
        if self._connection is None:
            raise DeviceUnavailable("port mqtt is not open: open it first")
        while (happening := self._connection.next(0.0)) is not None:
            if isinstance(happening, Failed):
                raise DeviceUnavailable(f"port mqtt is away: {happening.sentence}")
        return self._connection.heard.get(topic)

    def close(self) -> None:
        """Leave the broker."""
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.stop()

    def is_ours(self, topic: str) -> bool:
        """Whether afterfill itself publishes there."""
        return f"{topic}/".startswith(f"{self._settings.base}/")

    def _await(self, connection: _Newest) -> None:
        end_s = time.monotonic() + _OPEN_WITHIN_S
        while (left_s := end_s - time.monotonic()) > 0:
            match connection.next(left_s):
                case Connected():
                    return
                case Failed(sentence):
                    raise DeviceUnavailable(f"port mqtt is away: {sentence}")
        where = f"{self._settings.host}:{self._settings.port}"
        raise DeviceUnavailable(f"port mqtt is away: the broker {where} does not answer in time")
