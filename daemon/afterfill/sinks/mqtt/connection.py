"""The connection to the broker. Its callbacks only put what happened into a queue.

An exception in a callback would end the client's thread unseen, so callbacks do next to nothing
and are guarded; the sink's own thread does all the work.
"""

import logging
import queue
import socket
import ssl
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from afterfill.config import Mqtt
from afterfill.errors import SinkUnavailable
from afterfill.shown import shown
from afterfill.sinks.mqtt.commands import MAX_BYTES
from afterfill.sinks.mqtt.messages import Message
from afterfill.sinks.mqtt.takeover import RECONNECT_S, Takeovers
from afterfill.sinks.secret_file import secret_in

MAX_WAITING = 100  # commands that wait to be looked at; more of a flood are dropped and counted
_MAX_PACKET = 65_536  # bytes; a command has at most 4096, a topic at most 65535
_CONNECT_S = 3.0  # the service stops within 5 s, also while it waits for a broker
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Connected:
    """The broker accepted us."""


@dataclass(frozen=True, slots=True)
class Failed:
    """Something went wrong: what, in one sentence, and whether the connection is gone."""

    sentence: str
    lost: bool = True


@dataclass(frozen=True, slots=True)
class Confirmed:
    """The broker has confirmed the message with this number."""

    mid: int


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message came."""

    topic: str
    payload: bytes  # one byte too many tells that it was cut
    retained: bool
    repeated: bool = False


Happening = Connected | Failed | Confirmed | Arrived


class Connection:
    """Owned by the sink's thread: `start`, `next` ..., `stop`. Reconnects by itself."""

    def __init__(
        self,
        settings: Mqtt,
        client_id: str,
        will: Message | None = None,
        most_waiting: int = MAX_WAITING,
    ) -> None:
        """`will` is what the broker says when the connection ends without a word; of messages
        that came, `most_waiting` wait to be looked at.

        Raises SinkUnavailable when a password or certificate file cannot be used.
        """
        self._settings = settings
        self._client_id = client_id
        self._will = will
        self._most_waiting = most_waiting
        self._takeovers = Takeovers()
        self._happenings: queue.SimpleQueue[Happening] = queue.SimpleQueue()
        self._accepted = False
        self._was_refused = False
        self._accepted_s = 0.0
        self.dropped = 0  # messages of a flood that were never looked at
        self._told = 0  # of these, how many `take_dropped` has told
        self._client = self._made()

    def start(self) -> None:
        """Begin to connect, and go on trying."""
        self._client.connect_async(
            self._settings.host,
            self._settings.port,
            self._settings.keepalive_s,
            properties=self._bounds(),
        )
        self._client.loop_start()

    def _bounds(self) -> Properties | None:
        """What a broker of MQTT 5 may send us: larger ones it drops itself, few at a time."""
        if self._settings.version != "5":
            return None
        # the client's own gap: this one constructor carries no types
        bounds = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho's own gap
        bounds.MaximumPacketSize = _MAX_PACKET
        bounds.ReceiveMaximum = MAX_WAITING
        return bounds

    def leave(self) -> None:
        """Begin to disconnect cleanly. What should be said before must have been confirmed."""
        self._client.disconnect()

    def stop(self) -> None:
        """Disconnect cleanly and wait until that is done."""
        self.leave()
        self._client.loop_stop()

    def next(self, timeout_s: float) -> Happening | None:
        """What happened next, or None when nothing did within `timeout_s` [s]."""
        try:
            return (
                self._happenings.get(timeout=timeout_s)
                if timeout_s > 0
                else (self._happenings.get_nowait())
            )
        except queue.Empty:
            return None

    def subscribe(self, filters: list[str]) -> None:
        """Ask for messages; a retain flag that the sender set stays visible (MQTT 5)."""
        if self._settings.version == "5":
            options = SubscribeOptions(qos=1, retainAsPublished=True)
            self._client.subscribe([(name, options) for name in filters])
        else:
            self._client.subscribe([(name, 1) for name in filters])

    def unsubscribe(self, filters: list[str]) -> None:
        """Ask for no more of these messages."""
        self._client.unsubscribe(filters)

    def take_dropped(self) -> int:
        """How many messages of a flood were dropped unseen since this was last asked."""
        dropped, self._told = self.dropped - self._told, self.dropped
        return dropped

    def publish(self, message: Message) -> int:
        """Send with QoS 1; returns the number that `Confirmed` will carry."""
        properties = None
        if message.expires_s is not None and self._settings.version == "5":
            # the client's own gap: this one constructor carries no types
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # paho's own gap
            properties.MessageExpiryInterval = message.expires_s
        sent = self._client.publish(
            message.topic, message.payload, qos=1, retain=message.retain, properties=properties
        )
        return sent.mid

    def _made(self) -> paho.Client:
        version = paho.MQTTv5 if self._settings.version == "5" else paho.MQTTv311
        client = paho.Client(CallbackAPIVersion.VERSION2, self._client_id, protocol=version)
        client.reconnect_delay_set(*RECONNECT_S)
        client.connect_timeout = _CONNECT_S
        if self._will is not None:
            client.will_set(self._will.topic, self._will.payload, qos=1, retain=self._will.retain)
        if self._settings.username is not None:
            file = self._settings.password_file
            password = None if file is None else secret_in(file, "[mqtt] password_file").strip()
            client.username_pw_set(self._settings.username, password)
        if self._settings.tls:
            _set_tls(client, self._settings.ca_file)
        client.on_connect = self._guarded(self._on_connect)
        client.on_connect_fail = self._guarded(self._on_connect_fail)
        client.on_disconnect = self._guarded(self._on_disconnect)
        client.on_publish = self._guarded(self._on_publish)
        client.on_message = self._guarded(self._on_message)
        return client

    def _guarded(self, callback: Callable[..., None]) -> Callable[..., None]:
        def guarded(*arguments: Any) -> None:  # noqa: ANN401 - as the client calls
            try:
                callback(*arguments)
            except Exception as error:  # noqa: BLE001 - the boundary of the client's thread
                _log.exception("in an MQTT callback")
                sentence = f"a mistake in afterfill's MQTT part: {shown(repr(error), 300)}"
                self._happenings.put(Failed(sentence, lost=False))

        return guarded

    def _on_connect(self, _c: Any, _u: Any, _f: Any, reason: ReasonCode, _p: Any) -> None:  # noqa: ANN401 - the client names no types
        self._accepted = not reason.is_failure
        self._was_refused = reason.is_failure
        self._accepted_s = time.monotonic()
        self._happenings.put(Connected() if self._accepted else Failed(self._refused(str(reason))))

    def _on_connect_fail(self, _client: Any, _userdata: Any) -> None:  # noqa: ANN401 - the client names no types
        self._accepted = False
        self._happenings.put(Failed(self._unreachable(sys.exception())))

    def _on_disconnect(self, _c: Any, _u: Any, _f: Any, reason: ReasonCode, _p: Any) -> None:  # noqa: ANN401 - the client names no types
        if self._accepted:
            stood_s = time.monotonic() - self._accepted_s
            taken = self._takeovers.lost(stood_s, reason.value)
            self._client.reconnect_delay_set(*self._takeovers.delays_s)
            self._happenings.put(Failed(self._taken() if taken else self._lost(str(reason))))
        elif reason.is_failure and not self._was_refused:  # a refusal has told its reason already
            self._happenings.put(Failed(self._silent()))
        self._accepted = self._was_refused = False

    def _on_publish(self, _c: Any, _u: Any, mid: int, _r: Any, _p: Any) -> None:  # noqa: ANN401 - the client names no types
        self._happenings.put(Confirmed(mid))

    def _on_message(self, _c: Any, _u: Any, message: paho.MQTTMessage) -> None:  # noqa: ANN401 - the client names no types
        if self._happenings.qsize() >= self._most_waiting:
            self.dropped += 1
        else:
            payload = bytes(message.payload[: MAX_BYTES + 1])
            self._happenings.put(Arrived(message.topic, payload, message.retain, message.dup))

    @property
    def _where(self) -> str:
        return f"the broker {self._settings.host}:{self._settings.port}"

    def _lost(self, reason: str) -> str:
        return f"the connection to {self._where} was lost ({reason})"

    def _taken(self) -> str:
        return (
            f"another client that calls itself '{self._client_id}' seems to take our place at "
            f"{self._where} again and again; give each service a [mqtt] client_id of its own (a "
            "copied journal brings its mark along)"
        )

    def _refused(self, reason: str) -> str:
        return (
            f"{self._where} refuses us ({reason}); check [mqtt] username and password_file, "
            "and what the broker allows this user"
        )

    def _silent(self) -> str:
        if self._settings.tls:
            return f"{self._where} ends the connection before it answers; does its port speak TLS?"
        return (
            f"{self._where} ends the connection before it answers; if its port expects TLS, "
            "set [mqtt] tls = true"
        )

    def _unreachable(self, error: BaseException | None) -> str:
        match error:
            case ssl.SSLCertVerificationError():
                return (
                    f"the certificate of {self._where} cannot be trusted ({error.verify_message}); "
                    "check [mqtt] ca_file and that host is the name in the certificate"
                )
            case ssl.SSLError() | ConnectionResetError() if self._settings.tls:
                return (
                    f"{self._where} does not speak TLS on this port; use its TLS port, or set "
                    "[mqtt] tls = false"
                )
            case ConnectionRefusedError():
                return f"{self._where} is not there (connection refused); is it running?"
            case socket.gaierror():
                return f"{self._where} is not known by that name; check [mqtt] host"
            case _:
                return f"{self._where} cannot be reached ({error}); check [mqtt] host and port"


def _set_tls(client: paho.Client, ca_file: Path | None) -> None:
    try:
        client.tls_set(ca_certs=None if ca_file is None else str(ca_file))
    except (OSError, ValueError) as error:
        raise SinkUnavailable(
            f"[mqtt] ca_file {ca_file} cannot be used ({error}); it must hold the authority's "
            "certificate in PEM form"
        ) from error
