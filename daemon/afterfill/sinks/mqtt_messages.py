"""What goes onto the broker: topic, payload, whether it is kept there, and for how long."""

import json
from dataclasses import dataclass

from afterfill.record_kinds import words_of
from afterfill.records import (
    AlarmChange,
    Estimate,
    Forecast,
    Health,
    Reading,
    Record,
    RefillSeen,
    Standing,
    Verdict,
)
from afterfill.wire import to_line, to_published

LIVE_KINDS = words_of(lambda kind: kind.mqtt)
# Of what comes all the time only the newest matters late.
REPLAYED_KINDS = words_of(lambda kind: kind.mqtt and kind.block_bit is None)
# A broker of MQTT 5 forgets a kept reading or estimate after this, so that none looks live that
# is not; ten minutes outlast the slowest probe (300 s) twice.
_STALE_AFTER_S = 600
_FORECAST_STALE_AFTER_S = 7200  # it comes each half hour


@dataclass(frozen=True, slots=True)
class Message:
    """One message. `expires_s`: seconds after which the broker may forget it (MQTT 5)."""

    topic: str
    payload: str
    retain: bool
    expires_s: int | None = None


def status_topic(base: str) -> str:
    """Where `online` or `offline` stands."""
    return f"{base}/status"


def status_message(base: str, word: str) -> Message:
    """The service is `online` or `offline`."""
    return Message(status_topic(base), word, retain=True)


def record_message(base: str, record: Record) -> Message | None:
    """The message of a record; None for what is not published."""
    topic = _topic(record)
    if topic is None:
        return None
    payload = to_line(to_published(record))
    return Message(f"{base}/{record.tank}/{topic}", payload, True, _expires_s(record))


def _expires_s(record: Record) -> int | None:
    if isinstance(record, Forecast):
        return _FORECAST_STALE_AFTER_S
    return _STALE_AFTER_S if isinstance(record, Reading | Estimate | Health) else None


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
