"""Records as JSON objects and back: one form for journal, recordings, MQTT and `--json`.

An object carries `kind`, `time` and `tank`; the other keys are the record's own field names,
with times as RFC 3339 text in UTC and quantiles as ``{"q05", "q50", "q95"}``.
"""

import json
from dataclasses import fields
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from afterfill.errors import PayloadError
from afterfill.record_kinds import KIND_OF, TYPE_OF
from afterfill.records import WORDS, Evidence, Quantiles, Record, RefillSeen

_FIELDS = {record_type: tuple(f.name for f in fields(record_type)) for record_type in KIND_OF}
TIME_KEYS = {
    "time_s": "time",
    "refill_time_s": "refill_time",
    "logged_s": "logged",
    "since_s": "since",
    "learnt_s": "learnt",
    "opened_s": "opened",
    "counted_s": "counted",
    "drawn_s": "drawn",
    "kit_s": "kit_time",
    "said_s": "said",
    "residual_below_limit_s": "residual_below_limit",
    "residual_surely_below_limit_s": "residual_surely_below_limit",
    "free_ammonia_peak_s": "free_ammonia_peak",
}
_FIELD_OF = {key: field for field, key in TIME_KEYS.items()}
_QUANTILE_FIELDS = frozenset(
    {
        "residual_mg_l",
        "free_chlorine_mg_l",
        "combined_chlorine_mg_l",
        "total_ammonia_mg_l",
        "free_ammonia_mg_l",
        "free_ammonia_peak_mg_l",
        "peak_residual_mg_l",
        "fraction",
    }
)


def rfc3339(time_s: float) -> str:
    """RFC 3339 text in UTC, with milliseconds only where there are any.

    >>> rfc3339(1772350200.0)
    '2026-03-01T07:30:00Z'
    """
    return rfc3339_ms(round(time_s * 1000))


@lru_cache(maxsize=64)  # what is of one moment is written together
def rfc3339_ms(time_ms: int) -> str:
    """As `rfc3339`, of Unix milliseconds."""
    seconds, rest = divmod(time_ms, 1000)
    clock = f"{_hour(seconds // 3600)}{_SIXTY[seconds // 60 % 60]}:{_SIXTY[seconds % 60]}"
    return f"{clock}.{rest:03d}Z" if rest else f"{clock}Z"


# An export writes a time some thousand times a day of the recording.
_SIXTY = [f"{number:02d}" for number in range(60)]


@lru_cache(maxsize=64)
def _hour(hours: int) -> str:
    return datetime.fromtimestamp(hours * 3600, UTC).strftime("%Y-%m-%dT%H:")


def unix_s(text: str) -> float:
    """Unix seconds, on the millisecond grid, from RFC 3339 text.

    Raises PayloadError when the text is no RFC 3339 time with an offset or Z.

    >>> unix_s("2026-03-01T08:30:00.250+01:00")
    1772350200.25
    """
    try:
        moment = datetime.fromisoformat(text)
    except (ValueError, TypeError):
        moment = None
    if moment is None or moment.tzinfo is None:
        raise PayloadError(f"'{text}' is not a time: write it as 2026-03-01T07:30:00Z")
    return round(moment.timestamp() * 1000) / 1000


def to_wire(record: Record) -> dict[str, Any]:
    """The JSON object of a record, keys in the record's own order."""
    wire: dict[str, Any] = {"kind": KIND_OF[type(record)]}
    for name in _FIELDS[type(record)]:
        wire[TIME_KEYS.get(name, name)] = _plain(name, getattr(record, name))
    return wire


def to_published(record: Record) -> dict[str, Any]:
    """The object of an output as others read it: a refill that was seen is simply a `refill`."""
    wire = to_wire(record)
    if isinstance(record, RefillSeen):
        wire["kind"] = "refill"
    return wire


def _plain(name: str, value: Any) -> Any:  # noqa: ANN401 - JSON values
    if name in TIME_KEYS and value is not None:
        return rfc3339(value)
    if isinstance(value, Quantiles):
        return {"q05": value.q05, "q50": value.q50, "q95": value.q95}
    if isinstance(value, WORDS):  # what holds instead of a word that was corrected
        return to_wire(value)
    if name == "evidence":
        return {item.source: item.log_odds for item in value}
    return value


def from_wire(wire: dict[str, Any]) -> Record:
    """The record of an object that `to_wire` made.

    Raises PayloadError when `kind` is unknown or the fields are not those of the record.
    """
    kind = wire.get("kind")
    record_type = TYPE_OF.get(kind) if isinstance(kind, str) else None
    if record_type is None:
        raise PayloadError(f"'{kind}' is not a kind of record")
    fields = {_FIELD_OF.get(key, key): value for key, value in wire.items() if key != "kind"}
    try:
        return record_type(**{name: _rich(name, value) for name, value in fields.items()})
    except (TypeError, KeyError, AttributeError) as error:
        raise PayloadError(f"not a {kind} record: {error}") from error


def _rich(name: str, value: Any) -> Any:  # noqa: ANN401 - JSON values
    if value is None:
        return None
    if name in TIME_KEYS:
        return unix_s(value)
    if name in _QUANTILE_FIELDS and isinstance(value, dict):  # a kit's chlorine is one number
        return Quantiles(value["q05"], value["q50"], value["q95"])
    if isinstance(value, list):
        return tuple(value)
    if name == "word":
        return from_wire(value)
    if name == "evidence":
        return tuple(Evidence(source, log_odds) for source, log_odds in value.items())
    return value


def to_line(wire: dict[str, Any]) -> str:
    """One line of JSON, always spelled the same way: compact, keys in order, NaN refused."""
    return json.dumps(wire, ensure_ascii=False, separators=(", ", ": "), allow_nan=False)
