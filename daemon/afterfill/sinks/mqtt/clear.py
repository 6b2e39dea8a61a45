"""Takes back what a service left on a broker: its entities, then the states under its topics.

Only what is its own: the topics that its journal remembers or its tanks have, and entities that
name it or one of its tanks. What belongs to another service on the same broker stays.
"""

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from afterfill.config import Config
from afterfill.errors import SinkUnavailable
from afterfill.sinks.mqtt.connection import Arrived, Confirmed, Connected, Connection, Failed
from afterfill.sinks.mqtt.ids import plain_id
from afterfill.sinks.mqtt.messages import service_status_topic, status_topic
from afterfill.sinks.mqtt.present import SETTLES_S, cleared, kept_topics
from afterfill.sinks.mqtt.sources import source_of, told_by

_QUIET_S = 2.0  # so long nothing more came: the broker has said all that it keeps
_PATIENCE_S = 15.0
_ANY = 1_000_000


@dataclass
class Clearing:
    """One visit to the broker of `config.mqtt`, which must be set. `service` is the client id
    whose traces are looked for, `remembered` the topics that its journal names."""

    config: Config
    service: str
    remembered: frozenset[str]
    others: set[str] = field(default_factory=set)  # services whose traces were seen, and left
    _kept: dict[str, bytes] = field(default_factory=dict)

    def run(self, wanted: Callable[[list[str]], bool]) -> list[str]:
        """Find what is there, ask `wanted` whether it is to go, clear it; the topics cleared.

        Raises SinkUnavailable when the broker cannot be reached or does not confirm.
        """
        if self.config.mqtt is None:
            raise ValueError("a clearing needs the table [mqtt]")
        mqtt = self.config.mqtt
        connection = Connection(mqtt, f"{self.service}-clear", most_waiting=_ANY)
        prefix = mqtt.discovery_prefix
        filters = [f"{mqtt.base}/#", *([f"{prefix}/+/+/config"] if prefix else [])]
        connection.start()
        try:
            _await_accepted(connection)
            connection.subscribe(filters)
            self._hear(connection)
            found = [message.topic for message in cleared(self._ours(mqtt.base))]
            if not found or not wanted(found):
                return []
            entities = [topic for topic in found if topic.endswith("/config")]
            _emptied(connection, entities)
            if entities:
                time.sleep(SETTLES_S)
            _emptied(connection, found[len(entities) :])
        finally:
            connection.stop()
        return found

    def _hear(self, connection: Connection) -> None:
        until_s = time.monotonic() + _QUIET_S
        while (left_s := until_s - time.monotonic()) > 0:
            match connection.next(left_s):
                case Failed(sentence):
                    raise SinkUnavailable(sentence)
                case Arrived(topic, payload, retained=True):
                    self._kept[topic] = payload
                    until_s = time.monotonic() + _QUIET_S

    def _ours(self, base: str) -> set[str]:
        entities = {topic: _entity(topic, payload) for topic, payload in self._kept.items()}
        named = {topic: entity for topic, entity in entities.items() if entity is not None}
        others = {topic: entity for topic, entity in named.items() if self._is_other_s(entity)}
        self.others.update(name for entity in others.values() for name in entity.services)
        spared = tuple(
            f"{topic.removesuffix('status')}" for e in others.values() for topic in e.places
        )
        ours = {t: e for t, e in named.items() if t not in others and self._is_ours(base, e)}
        known = self.remembered.union(kept_topics(self.config, self.service), ours)
        known = known.union(entity.state for entity in ours.values()).difference(others)
        known = known.union(self._words_on_sources(base))
        found = {topic for topic in known if topic in self._kept and not topic.startswith(spared)}
        if self._others_are_there(base):
            found.discard(status_topic(base))
        return found

    def _words_on_sources(self, base: str) -> set[str]:
        """Where this service's own word on a source stands."""
        topics = [topic for topic in self._kept if source_of(base, topic) is not None]
        return {topic for topic in topics if told_by(self._kept[topic]) == self.service}

    def _is_ours(self, base: str, entity: "_Entity") -> bool:
        devices = {plain_id(f"{base}_{tank}") for tank in self.config.tank}
        return entity.device in devices or plain_id(self.service) in entity.services

    def _is_other_s(self, entity: "_Entity") -> bool:
        """Whether it names a service, and another one; in its older form it named none."""
        return bool(entity.services) and plain_id(self.service) not in entity.services

    def _others_are_there(self, base: str) -> bool:
        own = service_status_topic(base, self.service)
        return any(t.startswith(f"{base}/service/") and t != own for t in self._kept)


@dataclass(frozen=True, slots=True)
class _Entity:
    """What an entity of afterfill says: its device, where its state stands, its services, its
    tank's status topics."""

    device: str
    state: str
    services: frozenset[str]
    places: tuple[str, ...]


def _entity(topic: str, payload: bytes) -> _Entity | None:
    """The entity of a discovery message; None for anything else."""
    try:
        said = json.loads(payload) if topic.endswith("/config") else None
    except ValueError:
        return None
    if not isinstance(said, dict) or _inner(said, "origin").get("name") != "afterfill":
        return None
    listed = said.get("availability")
    rows = [row for row in listed if isinstance(row, dict)] if isinstance(listed, list) else []
    places = [str(row.get("topic", "")) for row in rows]
    services = {p.split("/service/")[1].removesuffix("/status") for p in places if "/service/" in p}
    tanks = tuple(p for p in places if p.endswith("/status") and "/service/" not in p)
    device = str((_inner(said, "device").get("identifiers") or [""])[0])
    state = str(said.get("state_topic", ""))
    return _Entity(device, state, frozenset(services), tanks)


def _inner(said: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    inner = said.get(key)
    return inner if isinstance(inner, dict) else {}


def _await_accepted(connection: Connection) -> None:
    deadline_s = time.monotonic() + _PATIENCE_S
    while (left_s := deadline_s - time.monotonic()) > 0:
        match connection.next(left_s):
            case Connected():
                return
            case Failed(sentence):
                raise SinkUnavailable(sentence)
    raise SinkUnavailable("the broker does not answer in time; check host, port and tls")


def _emptied(connection: Connection, topics: list[str]) -> None:
    waiting = {connection.publish(message) for message in cleared(set(topics))}
    deadline_s = time.monotonic() + _PATIENCE_S
    while waiting:
        match connection.next(max(0.0, deadline_s - time.monotonic())):
            case Confirmed(mid):
                waiting.discard(mid)
            case Failed(sentence):
                raise SinkUnavailable(sentence)
            case None:
                raise SinkUnavailable(
                    f"the broker has not confirmed that {len(waiting)} of {len(topics)} topics "
                    "are cleared; try again"
                )
