"""The present state of everything, as messages: for a broker or hub that knows nothing yet."""

import json
from collections.abc import Iterator

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config
from afterfill.journal.store import Entry, Journal
from afterfill.sinks.discovery import discovery
from afterfill.sinks.mqtt_messages import LIVE_KINDS, Message, record_message

_ANNOUNCED = "mqtt-announced"
_LOOK_BACK = 50  # entries of a kind among which the newest of each topic is sought


def present(base: str, config: Config, journal: Journal, now_s: float) -> list[Message]:
    """The newest message of each topic, oldest first.

    A reading or estimate that is stale at `now_s` [Unix s] is left out: a hub would show it as
    live.
    """
    newest: dict[str, tuple[int, Message]] = {}
    for entry in _recent(config, journal):
        message = record_message(base, entry.record)
        if message is not None and message.expires_s is not None:
            message = message if now_s - entry.record.time_s <= message.expires_s else None
        if message is not None and entry.seq > newest.get(message.topic, (0, message))[0]:
            newest[message.topic] = (entry.seq, message)
    return [message for _, message in sorted(newest.values(), key=lambda item: item[0])]


def _recent(config: Config, journal: Journal) -> Iterator[Entry]:
    for tank in config.tank:
        for kind in LIVE_KINDS:
            some = kind in ("reading", "alarm", "health")  # these have several topics each
            yield from journal.latest(kind, tank, _LOOK_BACK if some else 1)


def announcements(config: Config, journal: Journal) -> list[Message]:
    """Discovery of every entity, and the removal of those that the configuration dropped, with
    what was kept under their topics; the journal remembers them across restarts."""
    now = [] if config.mqtt is None else discovery(config, list(DEFINITIONS))
    before: set[str] = set(json.loads(journal.meta(_ANNOUNCED) or "[]"))
    topics = [topic for topic, _ in now]
    topics += sorted({payload["state_topic"] for _, payload in now if "state_topic" in payload})
    removed = sorted(before.difference(topics))
    if before.symmetric_difference(topics):
        journal.set_meta(_ANNOUNCED, json.dumps(topics))
    gone = [Message(topic, "", retain=True) for topic in removed]
    return gone + [
        Message(topic, json.dumps(payload, ensure_ascii=False), retain=True)
        for topic, payload in now
    ]
