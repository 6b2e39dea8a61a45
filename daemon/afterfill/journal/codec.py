"""A record as the small JSON body of a journal row, and back.

Kind, tank and time have places of their own; what equals a field's default is left out, since
readings are most of a journal.
"""

import json
import math
from dataclasses import fields
from typing import Any

from afterfill.errors import JournalError, PayloadError
from afterfill.record_kinds import KIND_OF
from afterfill.records import Health, Left, Reading, Record, Tick
from afterfill.wire import from_wire, rfc3339, to_wire

_DEFAULTS = {  # a field without one has MISSING here, which no value equals
    record_type: {f.name: f.default for f in fields(record_type)} for record_type in KIND_OF
}
_ELSEWHERE = frozenset({"kind", "tank", "time"})
_AS_THEY_ARE = {KIND_OF[record_type]: record_type for record_type in (Reading, Tick, Health)}


def body_of(record: Record) -> dict[str, Any]:
    """What of a record has no place of its own, as JSON values."""
    defaults = _DEFAULTS[type(record)]
    absent = {n for n, default in defaults.items() if getattr(record, n) == default}
    absent |= {"logged"} if "logged_s" in absent else set()
    return {k: v for k, v in to_wire(record).items() if k not in absent and k not in _ELSEWHERE}


def check_finite(record: Record) -> None:
    """Raises JournalError when a number in the record is not finite."""
    if isinstance(record, Reading) and (record.value is None or math.isfinite(record.value)):
        return  # nearly all of a journal: spared the long way
    compact(body_of(record))


def compact(value: Any) -> str:  # noqa: ANN401 - JSON values
    """JSON without spaces. Raises JournalError for NaN and infinity."""
    try:
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    except ValueError as error:
        raise JournalError(
            f"a record that holds NaN or infinity cannot be kept ({value}); "
            "its maker must say 'unknown' instead"
        ) from error


def left_of(body: str) -> Left | None:
    """What was left in the inbox; None for a newer version's, which waits for that version."""
    try:
        event = from_wire(json.loads(body))
    except (AttributeError, KeyError, PayloadError, TypeError, ValueError):
        return None
    return event if isinstance(event, Left) else None


def record_of(kind: str, tank: str, time_ms: int, body: dict[str, Any]) -> Record:
    """The record of a row. Raises PayloadError when this version does not know its form."""
    try:
        plain = _AS_THEY_ARE.get(kind)
        if plain is not None:
            return plain(time_s=time_ms / 1000, tank=tank, **body)
        return from_wire({"kind": kind, "time": rfc3339(time_ms / 1000), "tank": tank, **body})
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise PayloadError(f"a '{kind}' row of another version: {error}") from error
