"""The sink to a broker of home automation: the journal's present, kept under stable topics.

MQTT tells how things are now. After an outage, refills, verdicts and alarm changes are sent again
in order (at most the last `_REPLAY_AT_MOST` of them: a longer backlog is jumped), of readings and
estimates only the newest; then the newest of everything, since a broker may have lost what it
kept. History is the database's task. The cursor follows what the broker has confirmed.
"""

import logging
import threading
from collections import deque
from collections.abc import Callable
from pathlib import Path

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config, Mqtt
from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Entry, Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import Stamp
from afterfill.sinks.delivered import SAVE_CURSOR_S
from afterfill.sinks.discovery import birth_topic
from afterfill.sinks.health import HealthBoard, SinkHealth
from afterfill.sinks.mqtt_commands import Command, deserves_answer, obey, subscriptions
from afterfill.sinks.mqtt_connection import Arrived, Confirmed, Connected, Connection, Failed
from afterfill.sinks.mqtt_flood import Allowance, flood_answer
from afterfill.sinks.mqtt_messages import (
    LIVE_KINDS,
    REPLAYED_KINDS,
    Message,
    answer_message,
    record_message,
    status_message,
)
from afterfill.sinks.mqtt_present import announcements, present

CURSOR = "mqtt"
_POLL_S = 0.2  # how often the journal is looked at
_WINDOW = 20  # unconfirmed records at most; more would wait in the client's memory only
_HEARTBEAT_S = 20.0  # `online` is said again when nothing else was, so that health has an age
_REPLAY_AT_MOST = 1000
_TURNS = 100  # happenings looked at before it is time to deliver again, whatever floods in
_SAVE_EVENTS_S = 60.0  # after an event the cursor is saved sooner: few come twice after a kill
_RETRY_S = 10.0  # when a password or certificate file cannot be read
_GOODBYE_S = 2.0
_log = logging.getLogger(__name__)


class MqttSink:
    """Run `run` in a thread of its own; `health` may be asked by any thread."""

    def __init__(
        self,
        journal_path: Path,
        config: Config,
        now: Callable[[], Stamp],
        host: str,
        *,
        save_cursor_s: float = SAVE_CURSOR_S,
    ) -> None:
        """`config.mqtt` must be set; `host` names this machine (default client id)."""
        if config.mqtt is None:
            raise ValueError("MqttSink needs the table [mqtt]")
        self._path = journal_path
        self._config = config
        self._settings: Mqtt = config.mqtt
        self._now = now
        self._save_cursor_s = save_cursor_s
        self._client_id = self._settings.client_id or f"afterfill-{host}"
        self._stalled_after_s = 2 * _HEARTBEAT_S + self._settings.keepalive_s
        self._board = HealthBoard(max_age_s=self._stalled_after_s)

    def health(self) -> SinkHealth:
        """How delivery is doing now, by the age of the broker's last confirmation."""
        return self._board.health(self._now().monotonic_s)

    def run(self, stop: threading.Event) -> None:
        """Deliver and obey until `stop` is set. Raises JournalError when the journal fails."""
        while not stop.is_set():
            try:
                connection = Connection(self._settings, self._client_id)
            except SinkUnavailable as error:
                self._note(str(error))
                stop.wait(_RETRY_S)
                continue
            with Journal.open(self._path) as journal:
                session = _Session(self, connection, journal)
                connection.start()
                try:
                    session.run(stop)
                finally:
                    connection.stop()

    def _note(self, sentence: str) -> None:
        if self._board.failed(sentence):
            _log.warning("%s", sentence)


class _Session:
    """One run over one connection object, all on the sink's thread."""

    def __init__(self, sink: MqttSink, connection: Connection, journal: Journal) -> None:
        self._sink = sink
        self._base = sink._settings.base
        self._connection = connection
        self._journal = journal
        self._connected = False
        self._position = journal.cursor(CURSOR)  # all up to here is sent or of no interest
        self._replay_until = 0
        self._present_due = False
        self._outbox: deque[tuple[Message, int | None]] = deque()  # not yet with the client
        self._unconfirmed: deque[tuple[int, int | None]] = deque()  # (mid, seq before it is done)
        self._allowance = Allowance(at_s=self._monotonic_s())
        self._confirmed_mids: set[int] = set()
        self._told_event = False  # since the cursor was saved
        self._saved_s = self._sent_s = self._heard_s = self._monotonic_s()
        journal.move_cursor(CURSOR, 0)

    def _monotonic_s(self) -> float:
        return self._sink._now().monotonic_s

    def run(self, stop: threading.Event) -> None:
        while not stop.is_set() and not self._stalled():
            self._listen(_POLL_S)
            if self._connected:
                self._tell_refused()
                self._pump()
                self._deliver()
                self._heartbeat()
            every_s = self._sink._save_cursor_s
            self._save_cursor(min(every_s, _SAVE_EVENTS_S) if self._told_event else every_s)
        self._say_goodbye()
        self._save_cursor(every_s=0.0)

    def _stalled(self) -> bool:
        """Whether we seem connected but nothing is confirmed: then a new connection is made."""
        silent_s = self._monotonic_s() - self._heard_s
        if not (self._connected and self._unconfirmed and silent_s > self._sink._stalled_after_s):
            return False
        self._sink._note(f"the broker has confirmed nothing for {silent_s:.0f} s; connecting anew")
        self._connected = False
        return True

    # --- what happens ------------------------------------------------------------------------

    def _listen(self, timeout_s: float) -> None:
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
                        self._sink._board.remark(sentence, 1)
                case Confirmed(mid):
                    self._confirm(mid)
                case Arrived():
                    self._receive(happening)

    def _begin(self) -> None:
        self._connected = True
        self._outbox = deque(waiting for waiting in self._outbox if waiting[1] is not None)
        self._heard_s = self._monotonic_s()
        prefix = self._sink._settings.discovery_prefix
        birth = [birth_topic(prefix)] if prefix else []
        self._connection.subscribe([*subscriptions(self._base), *birth])
        self._announce()
        self._replay_until = self._journal.last_seq()
        self._skip_far_behind()
        self._present_due = True

    def _announce(self) -> None:
        self._send(status_message(self._base, "online"))
        for message in announcements(self._sink._config, self._journal):
            self._send(message)

    def _skip_far_behind(self) -> None:
        if self._position == 0:  # a new sink on an old journal: its history is not news
            self._position = self._replay_until
        newest = [
            entry
            for tank in self._sink._config.tank
            for kind in REPLAYED_KINDS
            for entry in self._journal.latest(kind, tank, _REPLAY_AT_MOST + 1)
        ]
        waiting = sorted(entry.seq for entry in newest if entry.seq > self._position)
        if len(waiting) > _REPLAY_AT_MOST:
            self._position = waiting[-_REPLAY_AT_MOST] - 1
            _log.warning("MQTT: a long backlog; only its last %d events are sent", _REPLAY_AT_MOST)

    def _receive(self, message: Arrived) -> None:
        prefix = self._sink._settings.discovery_prefix
        if prefix and message.topic == birth_topic(prefix):
            if message.payload == b"online":
                self._announce()
                self._present_due = True
            return
        if message.retained and not message.payload:
            return  # somebody clears a topic
        topic = message.topic.removeprefix(f"{self._base}/")
        if not (deserves_answer(topic) and self._allowance.take(self._monotonic_s())):
            return
        command = Command(topic, message.payload, message.retained, message.repeated)
        tank, answer = obey(
            command,
            tanks=self._sink._config.tank,
            alarms=DEFINITIONS,
            journal=self._journal,
            stamp=self._sink._now(),
        )
        self._send(answer_message(self._base, tank, answer))

    def _tell_refused(self) -> None:
        """One answer for all commands of a flood that were not looked at."""
        self._allowance.refused += self._connection.take_dropped()
        refused = self._allowance.to_tell(self._monotonic_s())
        if refused:
            _log.warning("MQTT: %s", flood_answer(refused)["error"])
            for tank in self._sink._config.tank:
                self._send(answer_message(self._base, tank, flood_answer(refused)))

    # --- what is sent ------------------------------------------------------------------------

    def _send(self, message: Message, seq: int | None = None) -> None:
        self._outbox.append((message, seq))
        self._pump()

    def _pump(self) -> None:
        """Hand to the client what fits into the window: more would wait in its memory only."""
        while self._outbox and len(self._unconfirmed) < _WINDOW:
            self._hand_over(*self._outbox.popleft())

    def _hand_over(self, message: Message, seq: int | None = None) -> None:
        self._unconfirmed.append((self._connection.publish(message), seq))
        self._sent_s = self._monotonic_s()

    def _deliver(self) -> None:
        """Send what is new, while the broker keeps up."""
        while not self._outbox and len(self._unconfirmed) < _WINDOW:
            entries = self._next_entries()
            for entry in entries:
                self._publish(entry)
            if not entries:
                break
        if self._present_due and self._position >= self._replay_until:
            self._present_due = False
            now_s = self._sink._now().time_s
            for message in present(self._base, self._sink._config, self._journal, now_s):
                self._send(message)

    def _next_entries(self) -> list[Entry]:
        """The next entries; when there are none, the position moves over what is of no interest."""
        replaying = self._position < self._replay_until
        until = self._replay_until if replaying else self._journal.last_seq()
        kinds = REPLAYED_KINDS if replaying else LIVE_KINDS
        room = _WINDOW - len(self._unconfirmed)
        if until <= self._position:
            return []
        entries = self._journal.entries(self._position, until=until, kinds=kinds, limit=room)
        if len(entries) < room:
            self._position = until
        return entries

    def _publish(self, entry: Entry) -> None:
        self._position = max(self._position, entry.seq)
        self._told_event |= KIND_OF[type(entry.record)] in REPLAYED_KINDS
        message = record_message(self._base, entry.record)
        if message is not None:
            self._send(message, entry.seq)

    def _confirm(self, mid: int) -> None:
        self._confirmed_mids.add(mid)
        while self._unconfirmed and self._unconfirmed[0][0] in self._confirmed_mids:
            self._confirmed_mids.discard(self._unconfirmed.popleft()[0])
        self._heard_s = self._monotonic_s()
        self._sink._board.confirmed(self._heard_s)

    def _heartbeat(self) -> None:
        if self._monotonic_s() - self._sent_s >= _HEARTBEAT_S:
            self._send(status_message(self._base, "online"))

    def _save_cursor(self, every_s: float) -> None:
        if self._monotonic_s() - self._saved_s < every_s:
            return
        self._saved_s = self._monotonic_s()
        waiting = [seq for _, seq in (*self._unconfirmed, *self._outbox) if seq is not None]
        self._told_event = self._told_event and bool(waiting)
        done = waiting[0] - 1 if waiting else self._position
        if done > self._journal.cursor(CURSOR):
            self._journal.move_cursor(CURSOR, done)

    def _say_goodbye(self) -> None:
        """Say `offline` ourselves: after a clean end the broker does not send the last will."""
        if not self._connected:
            return
        self._hand_over(status_message(self._base, "offline"))
        deadline_s = self._monotonic_s() + _GOODBYE_S
        while self._unconfirmed and self._connected and self._monotonic_s() < deadline_s:
            self._listen(0.05)
