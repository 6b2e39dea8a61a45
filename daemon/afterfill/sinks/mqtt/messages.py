"""What goes onto the broker: topic, payload, whether it is kept there, and for how long."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from afterfill.planning.shown import PLAIN, Shown
from afterfill.record_kinds import words_of
from afterfill.records import (
    AlarmChange,
    Estimate,
    Forecast,
    Health,
    Reading,
    Record,
    RefillReady,
    RefillSeen,
    Standing,
    StockLeft,
    Verdict,
)
from afterfill.sinks.mqtt.ids import plain_id
from afterfill.wire import to_line, to_published

LIVE_KINDS = words_of(lambda kind: kind.mqtt)
UPHELD = ("standing", "refill-ready")  # words that hold while estimates come: their topics
# A broker of MQTT 5 forgets a kept reading, estimate or word after this, so that none looks live
# that is not; ten minutes outlast the slowest probe (300 s) twice.
STALE_AFTER_S = 600
FORECAST_STALE_AFTER_S = 7200  # it comes each half hour
_SENTENCES = ("message", "advice", "why")
_DIGITS = 6  # more than any probe or model here is worth


@dataclass(frozen=True, slots=True)
class Message:
    """One message. `expires_s`: seconds after which the broker may forget it (MQTT 5)."""

    topic: str
    payload: str
    retain: bool
    expires_s: int | None = None


def status_topic(base: str) -> str:
    """Where `online` or `offline` stands for all services of a base: whether one is there."""
    return f"{base}/status"


def service_status_topic(base: str, service: str) -> str:
    """Where `online` or `offline` stands for the service with this client id."""
    return f"{base}/service/{plain_id(service)}/status"


def tank_status_topic(base: str, tank: str) -> str:
    """Where `online` or `offline` stands for a tank: whether a service watches it."""
    return f"{base}/{tank}/status"


def status_message(topic: str, word: str, expires_s: int | None = None) -> Message:
    """What `topic` tells of is `online` or `offline`."""
    return Message(topic, word, retain=True, expires_s=expires_s)


def status_messages(base: str, service: str, tanks: Iterable[str], word: str) -> list[Message]:
    """That a service and its tanks are `online` or `offline`."""
    own = status_message(service_status_topic(base, service), word)
    lasts_s = STALE_AFTER_S if word == "online" else None
    topics = [tank_status_topic(base, tank) for tank in tanks]
    return [own, *(status_message(topic, word, lasts_s) for topic in topics)]


def record_message(base: str, record: Record, shown: Shown = PLAIN) -> Message | None:
    """The message of a record; None for what is not published. Its sentences are for a person and
    in the units that `shown` names, its figures are always litres and degrees C."""
    topic = _topic(record)
    if topic is None:
        return None
    said = {
        key: _told(value, shown) if key in _SENTENCES else _rounded(value)
        for key, value in to_published(record).items()
    }
    payload = to_line(said)
    return Message(f"{base}/{record.tank}/{topic}", payload, True, _expires_s(record))


def _told(value: Any, shown: Shown) -> Any:  # noqa: ANN401 - JSON values
    if isinstance(value, str):
        return shown.text(value)
    return [shown.text(line) for line in value] if isinstance(value, list) else value


def _rounded(value: Any) -> Any:  # noqa: ANN401 - JSON values
    """Floats with the digits that mean something: 15.36, not 15.360999999999999."""
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return value


def _expires_s(record: Record) -> int | None:
    if isinstance(record, Forecast):
        return FORECAST_STALE_AFTER_S
    lasts = not isinstance(record, Reading | Estimate | Health | Standing | RefillReady)
    return None if lasts else STALE_AFTER_S


def _topic(record: Record) -> str | None:
    match record:
        case Reading():
            return f"reading/{record.quantity}"
        case Estimate():
            return "estimate"
        case Forecast():
            return "forecast"
        case RefillSeen():
            return "refill"
        case Verdict():
            return "verdict"
        case Standing():
            return "standing"
        case StockLeft():
            return "stock-left"
        case RefillReady():
            return "refill-ready"
        case AlarmChange():
            return f"alarm/{record.alarm}"
        case Health() if not record.component.startswith("thread "):
            return f"health/{component_key(record.component)}"
        case _:
            return None


def component_key(component: str) -> str:
    """A probe or sink as a level of a topic: ``sink mqtt`` is ``sink-mqtt``."""
    return component.replace(" ", "-")


def answer_message(base: str, tank: str, answer: dict[str, object]) -> Message:
    """The answer to a command on `tank`."""
    text = json.dumps(answer, ensure_ascii=False).encode(errors="replace").decode()
    return Message(f"{base}/{tank}/answer", text, retain=False)
