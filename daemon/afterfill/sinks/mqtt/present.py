"""The present state of everything, as messages: for a broker or hub that knows nothing yet."""

import json
from collections.abc import Iterator

from afterfill.config import Config
from afterfill.journal.store import Entry, Journal
from afterfill.journal.words import Corrected, told_of
from afterfill.records import QUANTITIES, Estimate, Forecast, Record, RefillReady, Standing
from afterfill.sinks.mqtt.discovery import alarms_of, components, discovery
from afterfill.sinks.mqtt.messages import (
    FORECAST_STALE_AFTER_S,
    STALE_AFTER_S,
    Message,
    component_key,
    record_message,
    service_status_topic,
    status_topic,
    tank_status_topic,
)
from afterfill.tank_table import shown_in

SETTLES_S = 5.0  # a hub that still has an entity would complain of the emptiness under its topics
_ANNOUNCED = "mqtt-announced"
_FOR_EVER_S = float(1 << 40)
_OFTEN = ("reading", "estimate", "health")  # several topics each, or stale soon: by their time
_SELDOM = ("forecast", "refill-seen", "verdict", "standing", "refill-ready", "stock-left")


def present(base: str, config: Config, journal: Journal, now_s: float) -> list[tuple[int, Message]]:
    """The newest message of each topic but those of the alarms, oldest first, each with the
    number of its entry.

    A reading or estimate that is stale at `now_s` [Unix s] is left out: a hub would show it as
    live. So is the word of how a tank stands when no estimate is fresh enough to uphold it.
    """
    newest: dict[str, tuple[int, Message]] = {}
    shown = shown_in(config.units)
    for entry in _recent(config, journal, now_s):
        message = record_message(base, entry.record, shown)
        if message is not None and entry.seq > newest.get(message.topic, (0, message))[0]:
            newest[message.topic] = (entry.seq, message)
    return sorted(newest.values(), key=lambda item: item[0])


def _recent(config: Config, journal: Journal, now_s: float) -> Iterator[Entry]:
    for tank in config.tank:
        newest = [e.record.time_s for kind in _OFTEN for e in journal.latest(kind, tank)]
        # a clock that is behind what was recorded must not make all of it the present
        from_s = max(now_s, *newest, 0.0) - STALE_AFTER_S
        live = [*journal.between(tank, from_s, _FOR_EVER_S, kinds=_OFTEN)]
        yield from live
        upheld = any(isinstance(entry.record, Estimate) for entry in live)
        corrected = Corrected(told_of(journal, tank))
        for kind in _SELDOM:
            for entry in journal.latest(kind, tank):
                if corrected.record(entry) and _holds(entry.record, upheld, now_s):
                    yield entry


def _holds(record: Record, upheld: bool, now_s: float) -> bool:
    if isinstance(record, Standing | RefillReady):
        return upheld
    return not isinstance(record, Forecast) or now_s - record.time_s <= FORECAST_STALE_AFTER_S


def kept_topics(config: Config, service: str) -> list[str]:
    """Every topic under which this service may leave something on the broker, but discovery's."""
    if config.mqtt is None:
        return []
    base = config.mqtt.base
    found = [status_topic(base), service_status_topic(base, service)]
    for tank in config.tank:
        below = [f"reading/{quantity}" for quantity in QUANTITIES]
        below += ["estimate", "forecast", "refill", "verdict", "standing", "refill-ready"]
        below += ["stock-left", "alarms"]
        below += [f"alarm/{name}" for name in alarms_of(config, tank)]
        below += [f"health/{component_key(part)}" for part in components(config, tank)]
        found += [tank_status_topic(base, tank), *(f"{base}/{tank}/{topic}" for topic in below)]
    return found


def announcements(
    config: Config, journal: Journal, service: str
) -> tuple[list[Message], list[Message]]:
    """Discovery of every entity, and the removal of those that the configuration dropped; then
    what empties the topics of these, to be sent when a hub has let go of them (`SETTLES_S`), and
    `remember`ed afterwards. The journal remembers what was announced across restarts."""
    now = discovery(config, service)
    before, topics = announced(journal), announced_topics(config, service)
    gone = cleared(set(before).difference(topics))
    entities = [message for message in gone if message.topic.endswith("/config")]
    states = [message for message in gone if message not in entities]
    if set(before) != set(topics):
        remember(journal, topics + [message.topic for message in states])
    told = [
        Message(topic, json.dumps(payload, ensure_ascii=False), retain=True)
        for topic, payload in now
    ]
    return entities + told, states


def announced_topics(config: Config, service: str) -> list[str]:
    """All topics under which the service leaves something on the broker, discovery's first."""
    return [topic for topic, _ in discovery(config, service)] + kept_topics(config, service)


def announced(journal: Journal) -> list[str]:
    """The topics under which something was left on a broker, as the journal remembers them."""
    return [str(topic) for topic in json.loads(journal.meta(_ANNOUNCED) or "[]")]


def remember(journal: Journal, topics: list[str]) -> None:
    """Keep the topics under which something is left on a broker."""
    journal.set_meta(_ANNOUNCED, json.dumps(topics))


def cleared(topics: set[str]) -> list[Message]:
    """What empties `topics`, entities first."""
    order = sorted(topics, key=lambda topic: (not topic.endswith("/config"), topic))
    return [Message(topic, "", retain=True) for topic in order]
