"""The sink to a broker of home automation: the journal's present, kept under stable topics.

MQTT tells how things are now: its topics are states. While the connection holds, every record is
sent in order; after an outage, and at the start, the newest of each topic and nothing of what came
before it. History is the database's task.
"""

import logging
import math
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path

from afterfill.config import Config, Mqtt
from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Entry, Journal
from afterfill.records import (
    AlarmChange,
    Estimate,
    RefillReady,
    Stamp,
    Standing,
)
from afterfill.sinks.health import SinkHealth, SinkStatus
from afterfill.sinks.mqtt.alarms import AlarmStates
from afterfill.sinks.mqtt.commands import subscriptions
from afterfill.sinks.mqtt.connection import Arrived, Confirmed, Connected, Connection, Failed
from afterfill.sinks.mqtt.discovery import birth_topic
from afterfill.sinks.mqtt.ids import client_id
from afterfill.sinks.mqtt.messages import (
    LIVE_KINDS,
    STALE_AFTER_S,
    UPHELD,
    Message,
    record_message,
    service_status_topic,
    status_message,
    status_messages,
    status_topic,
)
from afterfill.sinks.mqtt.obedience import Obedience
from afterfill.sinks.mqtt.outbox import Outbox
from afterfill.sinks.mqtt.present import (
    SETTLES_S,
    announced_topics,
    announcements,
    present,
    remember,
)
from afterfill.sinks.mqtt.sources import SharedSources, belief_topic, source_of
from afterfill.tank_table import shown_in

_OLD_CURSOR = "mqtt"  # what is told needs no queue; an older version kept its place in one
_POLL_S = 0.2  # how often the journal is looked at
_WINDOW = 20  # unconfirmed records at most; more would wait in the client's memory only
_HEARTBEAT_S = 20.0  # `online` is said again when nothing else was, so that health has an age
_TURNS = 100  # happenings looked at before it is time to deliver again, whatever floods in
_AGAIN_S = STALE_AFTER_S / 5  # what the broker would forget in the end is said again
_RETRY_S = 10.0  # when a password or certificate file cannot be read
_GOODBYE_S = 2.0
_log = logging.getLogger(__name__)


class MqttSink:
    """Run `run` in a thread of its own; `health` may be asked by any thread."""

    def __init__(self, journal_path: Path, config: Config, now: Callable[[], Stamp]) -> None:
        """`config.mqtt` must be set."""
        if config.mqtt is None:
            raise ValueError("MqttSink needs the table [mqtt]")
        self._path = journal_path
        self._config = config
        self._settings: Mqtt = config.mqtt
        self._now = now
        self._stalled_after_s = 2 * _HEARTBEAT_S + self._settings.keepalive_s
        self._health = SinkStatus(max_age_s=self._stalled_after_s)

    def health(self) -> SinkHealth:
        """How delivery is doing now, by the age of the broker's last confirmation."""
        return self._health.health(self._now().monotonic_s)

    def run(self, stop: threading.Event) -> None:
        """Deliver and obey until `stop` is set. Raises JournalError when the journal fails."""
        with Journal.open(self._path) as journal:
            journal.forget_cursor(_OLD_CURSOR)
            service = client_id(self._settings.client_id, journal.meta("journal"))
            alarms = AlarmStates(self._config)
            while not stop.is_set():
                try:
                    connections = self._connections(service)
                except SinkUnavailable as error:
                    self._note(str(error))
                    stop.wait(_RETRY_S)
                    continue
                _Session(self, *connections, journal, service, alarms).run(stop)

    def _connections(self, service: str) -> tuple[Connection, Connection]:
        """The one that does the work, and one that only leaves the last will of the base: a
        connection has one will, and the first needs it for this service's own topic."""
        base = self._settings.base
        own, shared = service_status_topic(base, service), status_topic(base)
        return (
            Connection(self._settings, service, status_message(own, "offline")),
            Connection(self._settings, f"{service}-status", status_message(shared, "offline")),
        )

    def _note(self, sentence: str) -> None:
        if self._health.failed(sentence):
            _log.warning("%s", sentence)


class _Session:
    """One run over one pair of connection objects, all on the sink's thread."""

    def __init__(
        self,
        sink: MqttSink,
        connection: Connection,
        witness: Connection,
        journal: Journal,
        service: str,
        alarms: AlarmStates,
    ) -> None:
        self._sink = sink
        self._base = sink._settings.base
        self._units = shown_in(sink._config.units)
        self._service = service
        self._connection = connection
        self._witness = witness
        self._journal = journal
        self._alarms = alarms
        self._connected = self._witness_started = self._leaving = False
        self._position = 0  # all up to here is sent or of no interest
        self._shown: dict[str, int] = {}  # entries that the present has shown, by topic
        self._upheld_s: dict[str, float] = {}  # when what estimates uphold was last said, by topic
        self._judged: set[str] = set()  # tanks of whose alarms the broker has been told
        self._outbox = Outbox()
        self._unconfirmed: deque[int] = deque()
        self._confirmed_mids: set[int] = set()
        self._obedience = Obedience(sink._config, journal, connection, sink._now)
        self._sources = SharedSources(sink._config, self._base, service)
        self._dropped: list[Message] = []  # empties what the configuration no longer has
        self._sent_s = self._heard_s = self._there_s = self._settled_s = self._monotonic_s()

    def _monotonic_s(self) -> float:
        return self._sink._now().monotonic_s

    def run(self, stop: threading.Event) -> None:
        self._connection.start()
        try:
            while not stop.is_set() and not self._stalled():
                self._listen(_POLL_S)
                if self._connected:
                    self._send(*self._obedience.due())
                    self._pump()
                    self._tell_sources()
                    self._deliver()
                    self._drop()
                    self._heartbeat()
            self._say_goodbye()
        finally:
            self._witness.leave()
            self._connection.stop()
            self._witness.stop()

    def _stalled(self) -> bool:
        """Whether we seem connected but nothing is confirmed: then a new connection is made."""
        silent_s = self._monotonic_s() - self._heard_s
        if not (self._connected and self._unconfirmed and silent_s > self._sink._stalled_after_s):
            return False
        self._sink._note(f"the broker has confirmed nothing for {silent_s:.0f} s; connecting again")
        self._connected = False
        return True

    # --- what happens ------------------------------------------------------------------------

    def _listen(self, timeout_s: float) -> None:
        while self._witness.next(0.0) is not None:
            pass  # what keeps it away keeps the other one away, which tells
        for turn in range(_TURNS):
            happening = self._connection.next(0.0 if turn else timeout_s)
            match happening:
                case None:
                    return
                case Connected():
                    self._begin()
                case Failed(sentence, lost):
                    self._connected = self._connected and not lost
                    if lost:
                        self._sink._note(sentence)
                    else:  # the next confirmation does not undo it
                        self._sink._health.remark(sentence, 1)
                case Confirmed(mid):
                    self._confirm(mid)
                case Arrived():
                    self._receive(happening)

    def _begin(self) -> None:
        self._connected = True
        self._outbox.clear()
        self._heard_s = self._monotonic_s()
        if not self._witness_started:
            self._witness_started = True
            self._witness.start()
        settings = self._sink._settings
        birth = [birth_topic(settings.discovery_prefix)] if settings.discovery_prefix else []
        heard = subscriptions(self._base, settings.commands)
        heard += [belief_topic(self._base, "+")] if heard else []
        self._connection.subscribe([*heard, status_topic(self._base), *birth])
        self._sources.begin(self._journal, self._monotonic_s())
        self._obedience.begin()
        self._tell_all()

    def _tell_all(self) -> None:
        """That we are there, every entity, and the newest of each topic."""
        stamp, self._position = self._sink._now(), self._journal.last_seq()
        self._say_there()
        self._send(status_message(status_topic(self._base), "online"))
        config = self._sink._config
        told, self._dropped = announcements(config, self._journal, self._service)
        self._settled_s = self._monotonic_s() + SETTLES_S
        for message in told:
            self._outbox.before(message)
        self._alarms.read(self._journal, self._position)
        self._judged = {tank for tank in config.tank if self._journal.latest("estimate", tank)}
        for tank in self._judged:
            self._tell_alarms(tank)
        for seq, message in present(self._base, config, self._journal, stamp.time_s):
            self._shown[message.topic] = seq
            self._outbox.before(message)
        self._pump()

    def _receive(self, message: Arrived) -> None:
        prefix = self._sink._settings.discovery_prefix
        if prefix and message.topic == birth_topic(prefix):
            if message.payload == b"online":
                self._tell_all()
            return
        if message.topic == status_topic(self._base):
            if message.payload != b"online" and not self._leaving:  # another service has gone
                self._send(status_message(message.topic, "online"))
            return
        if message.retained and not message.payload:
            return  # a person clears a topic
        source = source_of(self._base, message.topic)
        if source is not None:
            self._hear(source, message)
            return
        self._send(*self._obedience.answers(message))

    def _hear(self, source: str, message: Arrived) -> None:
        if not (message.payload and self._obedience.has_patience()):
            return
        stamp = self._sink._now()
        refused = self._sources.left_for_the_core(self._journal, source, message.payload, stamp)
        if refused is not None:
            self._sink._health.remark(refused, 1)

    def _tell_sources(self) -> None:
        self._send(*self._sources.due(self._journal, self._monotonic_s()))

    # --- what is sent ------------------------------------------------------------------------

    def _send(self, *messages: Message) -> None:
        for message in messages:
            self._outbox.news(message)
        self._pump()

    def _pump(self) -> None:
        """Hand to the client what fits into the window: more would wait in its memory only."""
        while self._outbox and len(self._unconfirmed) < _WINDOW:
            self._hand_over(self._outbox.take())

    def _hand_over(self, message: Message) -> None:
        self._unconfirmed.append(self._connection.publish(message))
        self._sent_s = self._monotonic_s()

    def _deliver(self) -> None:
        """Send what is new, while the broker keeps up."""
        while not self._outbox.has_news and len(self._unconfirmed) < _WINDOW:
            entries = self._next_entries()
            for entry in entries:
                self._publish(entry)
            if not entries:
                break

    def _next_entries(self) -> list[Entry]:
        """The next entries; when there are none, the position moves over what is of no interest."""
        until = self._journal.last_seq()
        room = _WINDOW - len(self._unconfirmed)
        if until <= self._position:
            return []
        entries = self._journal.entries(self._position, until=until, kinds=LIVE_KINDS, limit=room)
        if len(entries) < room:
            self._position = until
        return entries

    def _publish(self, entry: Entry) -> None:
        self._position = max(self._position, entry.seq)
        message = record_message(self._base, entry.record, self._units)
        if message is None or entry.seq <= self._shown.get(message.topic, 0):
            return
        self._send(message)
        match entry.record:
            case AlarmChange(tank=tank) as change:
                self._alarms.note(change)
                self._send(self._alarms.summary(self._base, tank, change.time_s))
            case Standing() | RefillReady():
                self._upheld_s[message.topic] = self._monotonic_s()
            case Estimate(tank=tank):
                self._uphold(tank)

    def _uphold(self, tank: str) -> None:
        """An estimate has come: what it stands for is said again before the broker forgets it."""
        if tank not in self._judged and tank in self._sink._config.tank:
            self._judged.add(tank)
            self._tell_alarms(tank)
        now_s = self._monotonic_s()
        for kind in UPHELD:
            topic = f"{self._base}/{tank}/{kind}"
            if now_s - self._upheld_s.get(topic, -math.inf) < _AGAIN_S:
                continue
            self._upheld_s[topic] = now_s
            for entry in self._journal.latest(kind, tank):
                message = record_message(self._base, entry.record, self._units)
                if message is not None:
                    self._send(message)

    def _tell_alarms(self, tank: str) -> None:
        self._send(*self._alarms.messages(self._base, tank, self._sink._now().time_s))

    def _confirm(self, mid: int) -> None:
        self._confirmed_mids.add(mid)
        while self._unconfirmed and self._unconfirmed[0] in self._confirmed_mids:
            self._confirmed_mids.discard(self._unconfirmed.popleft())
        self._heard_s = self._monotonic_s()
        self._sink._health.confirmed(self._heard_s)

    def _drop(self) -> None:
        now_s = self._monotonic_s()
        if len(self._outbox):  # the hub has not been told yet that their entities are gone
            self._settled_s = now_s + SETTLES_S
        elif self._dropped and now_s >= self._settled_s:
            for message in self._dropped:
                self._send(message)
            self._dropped = []
            remember(self._journal, announced_topics(self._sink._config, self._service))

    def _heartbeat(self) -> None:
        now_s = self._monotonic_s()
        if now_s - self._there_s >= _AGAIN_S:
            self._say_there()
        elif now_s - self._sent_s >= _HEARTBEAT_S:
            self._send(self._status("online")[0])

    def _say_there(self) -> None:
        self._there_s = self._monotonic_s()
        self._send(*self._status("online"))

    def _status(self, word: str) -> list[Message]:
        return status_messages(self._base, self._service, self._sink._config.tank, word)

    def _say_goodbye(self) -> None:
        """Say `offline` ourselves: after a clean end the broker does not send the last will."""
        if not self._connected:
            return
        self._leaving = True
        for message in (
            *self._status("offline"),
            status_message(status_topic(self._base), "offline"),
        ):
            self._hand_over(message)
        deadline_s = self._monotonic_s() + _GOODBYE_S
        while self._unconfirmed and self._connected and self._monotonic_s() < deadline_s:
            self._listen(0.05)
