"""A record as the small JSON body of a journal row, and back.

Kind, tank and time have columns of their own; what equals a field's default is left out, since
readings are most of a journal. An ORP reading's body is about 55 bytes.
"""

import json
from dataclasses import MISSING, fields
from typing import Any

from afterfill.errors import JournalError, PayloadError
from afterfill.records import Record
from afterfill.wire import KIND_OF, from_wire, rfc3339, to_wire

_DEFAULTS = {
    record_type: {f.name: f.default for f in fields(record_type) if f.default is not MISSING}
    for record_type in KIND_OF
}
_IN_COLUMNS = frozenset({"kind", "tank", "time"})


def body_of(record: Record) -> str:
    """The row's body. Raises JournalError when a number in it is not finite."""
    defaults = _DEFAULTS[type(record)]
    absent = {n for n, default in defaults.items() if getattr(record, n) == default}
    absent |= {"logged"} if "logged_s" in absent else set()
    wire = {k: v for k, v in to_wire(record).items() if k not in absent and k not in _IN_COLUMNS}
    return compact(wire)


def compact(value: Any) -> str:  # noqa: ANN401 - JSON values
    """JSON without spaces. Raises JournalError for NaN and infinity."""
    try:
        return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    except ValueError as error:
        raise JournalError(
            f"a record that holds NaN or infinity cannot be kept ({value}); "
            "its maker must say 'unknown' instead"
        ) from error


def record_of(kind: str, tank: str, time_ms: int, body: str) -> Record:
    """The record of a row. Raises PayloadError when this version does not know its form."""
    try:
        wire = json.loads(body)
        return from_wire({"kind": kind, "time": rfc3339(time_ms / 1000), "tank": tank, **wire})
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise PayloadError(f"a '{kind}' row of another version: {error}") from error
